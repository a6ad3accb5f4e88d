"""How netlists are written: letters, encodings, comments, continuations, files, and what is left out."""

from __future__ import annotations

import string
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.netlists.cards import Reader
from lostgain.netlists.deck import sort_cards
from lostgain.netlists.dialect import plain_element, plain_setting
from lostgain.netlists.expressions import value
from lostgain.netlists.habits import lines_of, plain_signs
from lostgain.netlists.model import Card, Notes
from lostgain.netlists.modelcards import plain_model
from lostgain.netlists.names import board, plain_node
from lostgain.problems import UserError, Where
from lostgain.unit.names import NODE
from lostgain.unit.spicevalue import spice_value


def card(text: str, line: int = 1) -> Card:
    return Card(text, Where(Path("a.cir"), line))


def read(folder: Path, text: str | bytes, name: str = "a.cir") -> tuple[list[Card], Reader]:
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    reader = Reader(folder, Notes())
    return reader.read(file, Where(file)), reader


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le"])
def test_any_usual_encoding(tmp_path: Path, encoding: str) -> None:
    file = tmp_path / "a.cir"
    file.write_bytes("title\r\nC1 a 0 4.7µ ; a comment\r\n".encode(encoding))
    assert lines_of(file, Where(), Notes())[1].startswith("C1 a 0 4.7u")


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("R1 $N_0001 $G_VCC 10kΩ", "R1 N_0001 G_VCC 10k"),
        ("X§U1 a b", "X_U1 a b"),
        ("R1 Net-(C1-Pad2) 0 1k", "R1 Net-_C1-Pad2_ 0 1k"),
        ("R1 a 0 {5-(3)}", "R1 a 0 {5-(3)}"),
        ("R1 a 0 1k $ comment", "R1 a 0 1k $ comment"),
    ],
)
def test_signs_that_spice_lacks(written: str, plain: str) -> None:
    assert plain_signs(written) == plain


def test_comments_continuations_and_the_end(tmp_path: Path) -> None:
    text = "title\nR1 a 0 ; first\n* between\n\n+ 1k $ last\nR2 a 0 2k // other\n.end\nR3 a 0 1k\n"
    cards, reader = read(tmp_path, text)
    assert [(each.text, each.where.line) for each in cards] == [("R1 a 0 1k", 2), ("R2 a 0 2k", 6)]
    assert reader.title == "title"


def test_a_title_may_be_a_directive(tmp_path: Path) -> None:
    _, reader = read(tmp_path, ".title Desk\nR1 a 0 1k\n")
    assert reader.title == "Desk"


def test_files_are_found_beside_the_netlist_whatever_path_is_named(tmp_path: Path) -> None:
    (tmp_path / "Parts.LIB").write_text("R2 b 0 1k\n")
    text = 'title\n.include "C:\\somewhere\\parts.lib"\n.lib ../far/parts.lib\n.inc gone.lib\n'
    cards, reader = read(tmp_path, text)
    assert [each.text for each in cards] == ["R2 b 0 1k"] * 2
    assert [name for name, _ in reader.missing] == ["gone.lib"]


def test_a_section_of_a_library(tmp_path: Path) -> None:
    (tmp_path / "p.lib").write_text(".lib one\nR1 a 0 1k\n.endl\n.lib two\nR2 a 0 2k\n.endl two\n")
    cards, _ = read(tmp_path, "title\n.lib 'p.lib' TWO\n")
    assert [each.text for each in cards] == ["R2 a 0 2k"]
    with pytest.raises(UserError, match="no section three"):
        read(tmp_path, "title\n.lib 'p.lib' three\n")


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "outside.lib").write_text("R9 a 0 1k\n")
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "p.lib").symlink_to(tmp_path / "outside.lib")
    with pytest.raises(UserError, match="leads out of"):
        read(tmp_path / "in", "title\n.include p.lib\n")


def test_a_file_that_includes_itself(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="includes itself"):
        read(tmp_path, "title\n.include a.cir\n")


def test_what_is_left_out_is_said_with_its_line() -> None:
    notes = Notes()
    texts = [".tran 1u 1m", ".PROBE/CSDF V(Out)", ".wave x.wav V(a)", ".step param r 1 2 1", ".aliases", "R1 R1(1=a)"]
    cards = [card(text, line) for line, text in enumerate([*texts, ".endaliases", "R1 a 0 1k"], 4)]
    deck = sort_cards(cards, "", Path("a.cir"), notes)
    assert [each.text for each in deck.elements] == ["R1 a 0 1k"]
    assert deck.shown == ["out"]
    assert [(each.about, each.where.line) for each in notes.guesses] == [
        (".tran", 4), (".probe", 5), (".wave", 6), (".step", 7), (".aliases", 8),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("written", "lines"),
    [
        ("R1 a b 4k7", ["R1 a b 4.7k"]),
        ("R1 a b 10 k", ["R1 a b 10k"]),
        ("R1 a b R=2k2", ["R1 a b 2.2k"]),
        ("R1 a b 1M", ["R1 a b 1meg"]),
        ("R1 a b 1k TC=1m,2u", ["R1 a b 1k tc1=1m tc2=2u"]),
        ("C1 a b 10u V=50 Irms=1 mfg=\"x y\" type=\"X7R\"", ["C1 a b 10u"]),
        ("C1 a b 10u Rser=0.5", ["C1 c1_rser b 10u", "XC1_rser a c1_rser inner_r params: q=0.5"]),
        ("L1 a b 1m Rser=0", ["L1 a b 1m"]),
        ("K1 L1 L2 L3 0.9", ["K1_1 L1 L2 0.9", "K1_2 L1 L3 0.9", "K1_3 L2 L3 0.9"]),
        ("E1 o 0 VALUE {IF(V(a)>1 & V(b)<2, 1, 0)}", ["E1 o 0 VALUE={ternary_fcn(V(a)>1 && V(b)<2, 1, 0)}"]),
        ("B1 o 0 V=table(V(a),0,0,1,2)", ["B1 o 0 V=pwl(V(a),0,0,1,2)"]),
        ("RV1 a w b 10k", ["XRV1 a w b potentiometer params: R=10k K=0.5"]),
        ("X1 a b s OPTIONAL: c=1 PARAMS: r = 2 TEXT: t=\"x\"", ["X1 a b s params: c=1 PARAMS: r=2"]),
    ],
)  # fmt: skip
def test_elements_in_ngspices_words(written: str, lines: list[str]) -> None:
    assert plain_element(card(written), Notes()) == lines


@pytest.mark.parametrize(
    ("written", "lines"),
    [
        (".temp 40", [".options temp=40"]),
        (".options numdgt=7 reltol=1e-4", [".options reltol=1e-4"]),
        (".options plotwinsize=0", []),
        (".param a=1 b = 2*a  c={a+b} d='a'", [".param a={1} b={2*a} c={a+b} d={a}"]),
        (".param r = 4k7", [".param r={4.7k}"]),
    ],
)
def test_settings_in_ngspices_words(written: str, lines: list[str]) -> None:
    assert plain_setting(card(written), Notes()) == lines


def test_aliases_of_models() -> None:
    known = {
        "base": card(".model BASE NPN(bf=100 is=1f mfg=someone"),
        "two": card(".MODEL two AKO:base NPN (bf=50)"),
        "three": card(".model three ako: two (vaf=10)"),
        "round": card(".model round ako:round npn(bf=1)"),
        "lost": card(".model lost ako:bass npn(bf=1)"),
    }
    assert plain_model(known["three"], known, Notes()) == ".model three npn(bf=50 is=1f vaf=10)"
    with pytest.raises(UserError, match="stands for itself"):
        plain_model(known["round"], known, Notes())
    with pytest.raises(UserError, match="missing") as caught:
        plain_model(known["lost"], known, Notes())
    assert "base" in caught.value.problems[0].meant


NAMES = [("XU1A", "U1A"), ("R1", "R1"), ("RRV1", "RV1"), ("QT1", "T1"), ("CEC3", "EC3"), ("QP1", "QP1"), ("X1", "X1")]


@pytest.mark.parametrize(("name", "designator"), NAMES)
def test_designators(name: str, designator: str) -> None:
    assert board(name) == designator


@pytest.mark.parametrize(
    ("written", "plain"),
    [("/pre/out", "pre_out"), ("+15v", "p15v"), ("-15v", "n15v"), ("v+", "vp"), ("v-", "vn"), ("1k", "n_1k"),
     ("net-_r1-pad1_", "r1_pad1"), ("all", "n_all"), ("a.b", "a_b"), ("~{mute}", "n_mute")],
)  # fmt: skip
def test_nodes(written: str, plain: str) -> None:
    assert plain_node(written) == plain


@given(st.text(alphabet=string.ascii_lowercase + string.digits + "_+-/.#:[]<>%~", min_size=1, max_size=30))
def test_every_node_gets_a_name_that_a_unit_file_takes(name: str) -> None:
    plain = plain_node(name)
    assert NODE.fullmatch(plain)
    assert plain_node(plain) == plain


@given(st.integers(1, 999), st.integers(1, 9), st.sampled_from("kKmunp"))
def test_a_letter_in_the_points_place_is_the_point(whole: int, tenth: int, letter: str) -> None:
    # IEC 60062: the letter stands where the decimal point would
    meant, reads = value(f"{whole}{letter}{tenth}", "c")
    assert reads
    size = {"k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}[letter.lower()]
    assert spice_value(meant, "C") == pytest.approx((whole + tenth / 10) * size)


def refused_at_lines(text: str) -> bool:
    """Read a netlist as far as ngspice is not needed, and tell whether each mistake in it has its line."""
    with tempfile.TemporaryDirectory() as place:
        try:
            cards, reader = read(Path(place), text)
            deck = sort_cards(cards, reader.title, Path(place) / "a.cir", Notes())
            for each in deck.elements:
                plain_element(each, Notes())
            for each in deck.settings:
                plain_setting(each, Notes())
        except UserError as error:
            return all(problem.message and problem.where.line for problem in error.problems)
    return True


@given(st.text(max_size=300))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    assert refused_at_lines("title\n" + text)


LINES = ["R1 a b 1k", "+ tc1=1", "* c", "; c", "", "C1 a b 1u $x", ".tran 1 2", "X1 a s params:", ".param a=1",
         "E1 a 0 value {1}",
         ".subckt s a", ".ends", ".model d d", "*#", ".control", "K1 L1", "K", "V1", ".include"]  # fmt: skip


@given(st.lists(st.sampled_from(LINES), max_size=12))
def test_lines_in_any_order_are_read_or_refused_with_their_line(lines: list[str]) -> None:
    assert refused_at_lines("\n".join(["title", *lines]))
