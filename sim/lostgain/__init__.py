"""Finds the failed part of an audio unit from bench readings, by simulating the unit's own stages with faults put in.

What a bench session needs, in order: `open_unit`, `check`, `build_circuit`, `predict`, `signature_table`, `sheet`,
`read_readings`, `match`. All else here is what these take and give, and how it is written for people (``…_text``) and
for programs (``…_record``). Each name is imported when it is first used, so that ``import lostgain`` costs nothing.

Examples
--------
>>> import lostgain
>>> unit = lostgain.open_unit("ferry-terminal")
>>> unit.title
'Two-zone announcement amplifier'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lostgain.bench.cautions import Caution, cautions
    from lostgain.bench.check import Check, check
    from lostgain.bench.printed import compare_printed
    from lostgain.bench.session import Session
    from lostgain.bench.sheet import sheet
    from lostgain.bench.sheet_model import Sheet
    from lostgain.circuit.build import build as build_circuit
    from lostgain.circuit.model import Circuit
    from lostgain.circuit.running import prove_running
    from lostgain.diagnosis.allowances import Allowances, allowances
    from lostgain.diagnosis.knowledge import Knowledge, known
    from lostgain.diagnosis.limits import Limits, limits
    from lostgain.diagnosis.match import match
    from lostgain.diagnosis.model import Suspect, Verdict
    from lostgain.diagnosis.next_model import Move, Next, NextReading
    from lostgain.diagnosis.next_reading import next_reading
    from lostgain.diagnosis.off_checks import part_checks
    from lostgain.diagnosis.two import Tried, two_at_once, unexplained_alone
    from lostgain.engine.cluster import cluster
    from lostgain.engine.pool import Pool, WorkersGone
    from lostgain.faults.listing import listing as list_faults
    from lostgain.faults.model import Fault
    from lostgain.faults.parse import parse as parse_fault
    from lostgain.faults.rates import Rates, rates
    from lostgain.netlists.model import Imported
    from lostgain.netlists.take import import_netlist
    from lostgain.netlists.write import free_folder, write_unit
    from lostgain.problems import Problem, UserError
    from lostgain.readings.instruments import instruments
    from lostgain.readings.model import Reading, Readings
    from lostgain.readings.read import read as read_readings
    from lostgain.readings.reference import with_reference
    from lostgain.readings.write import write as write_readings
    from lostgain.report.drawing.draw import draw_stage
    from lostgain.report.explain_html import explain_html
    from lostgain.report.folders import prediction_pictures, verdict_pictures
    from lostgain.report.record_explain import explain_record
    from lostgain.report.record_import import import_record
    from lostgain.report.record_next import next_record
    from lostgain.report.record_route import route_record
    from lostgain.report.record_stage import stage_record
    from lostgain.report.records import prediction_record, verdict_record
    from lostgain.report.route_html import route_html
    from lostgain.report.sheet_html import render_html as sheet_html
    from lostgain.report.sheet_pdf import write_pdf as write_sheet_pdf
    from lostgain.report.sheet_text import render_text as sheet_text
    from lostgain.report.text_check import check_text
    from lostgain.report.text_debrief import debrief_text
    from lostgain.report.text_drill import answer_text, order_text
    from lostgain.report.text_explain import explain_text
    from lostgain.report.text_import import import_text
    from lostgain.report.text_match import verdict_text
    from lostgain.report.text_next import next_line, next_text
    from lostgain.report.text_predict import prediction_text
    from lostgain.report.text_route import route_text
    from lostgain.report.text_stage import stage_text, stages_text
    from lostgain.report.text_table import table_text
    from lostgain.report.text_units import units_text
    from lostgain.signatures.build import table as signature_table
    from lostgain.signatures.build import table_from, write_table
    from lostgain.signatures.gains import stage_gains
    from lostgain.signatures.poweroff import power_off
    from lostgain.signatures.poweroff_predict import predict_off
    from lostgain.signatures.predict import Prediction, predict
    from lostgain.signatures.sentences import sentences
    from lostgain.signatures.table import Table
    from lostgain.teach.debrief import Debrief, debrief
    from lostgain.teach.drill import begin as begin_drill
    from lostgain.teach.drill import do as do_in_drill
    from lostgain.teach.explain import explain
    from lostgain.teach.outlook import outlook
    from lostgain.teach.record import Drill
    from lostgain.teach.rig import Rig as DrillBench
    from lostgain.teach.route import route
    from lostgain.teach.score import score_record
    from lostgain.unit.find import find_units
    from lostgain.unit.library import stage, stages
    from lostgain.unit.model import Unit
    from lostgain.unit.placed_stage import placed_stage
    from lostgain.unit.read import open_unit

#: Where each public name is, and what it is called there.
_PLACES = {
    "Allowances": ("diagnosis.allowances", "Allowances"),
    "Caution": ("bench.cautions", "Caution"),
    "Check": ("bench.check", "Check"),
    "Circuit": ("circuit.model", "Circuit"),
    "Debrief": ("teach.debrief", "Debrief"),
    "Drill": ("teach.record", "Drill"),
    "DrillBench": ("teach.rig", "Rig"),
    "Fault": ("faults.model", "Fault"),
    "Imported": ("netlists.model", "Imported"),
    "Knowledge": ("diagnosis.knowledge", "Knowledge"),
    "Limits": ("diagnosis.limits", "Limits"),
    "Move": ("diagnosis.next_model", "Move"),
    "Next": ("diagnosis.next_model", "Next"),
    "NextReading": ("diagnosis.next_model", "NextReading"),
    "Pool": ("engine.pool", "Pool"),
    "Prediction": ("signatures.predict", "Prediction"),
    "Problem": ("problems", "Problem"),
    "Rates": ("faults.rates", "Rates"),
    "Reading": ("readings.model", "Reading"),
    "Readings": ("readings.model", "Readings"),
    "Session": ("bench.session", "Session"),
    "Sheet": ("bench.sheet_model", "Sheet"),
    "Suspect": ("diagnosis.model", "Suspect"),
    "Table": ("signatures.table", "Table"),
    "Tried": ("diagnosis.two", "Tried"),
    "Unit": ("unit.model", "Unit"),
    "UserError": ("problems", "UserError"),
    "Verdict": ("diagnosis.model", "Verdict"),
    "WorkersGone": ("engine.pool", "WorkersGone"),
    "allowances": ("diagnosis.allowances", "allowances"),
    "answer_text": ("report.text_drill", "answer_text"),
    "begin_drill": ("teach.drill", "begin"),
    "build_circuit": ("circuit.build", "build"),
    "cautions": ("bench.cautions", "cautions"),
    "check": ("bench.check", "check"),
    "check_text": ("report.text_check", "check_text"),
    "cluster": ("engine.cluster", "cluster"),
    "compare_printed": ("bench.printed", "compare_printed"),
    "debrief": ("teach.debrief", "debrief"),
    "debrief_text": ("report.text_debrief", "debrief_text"),
    "do_in_drill": ("teach.drill", "do"),
    "draw_stage": ("report.drawing.draw", "draw_stage"),
    "explain": ("teach.explain", "explain"),
    "explain_html": ("report.explain_html", "explain_html"),
    "explain_record": ("report.record_explain", "explain_record"),
    "explain_text": ("report.text_explain", "explain_text"),
    "find_units": ("unit.find", "find_units"),
    "free_folder": ("netlists.write", "free_folder"),
    "import_netlist": ("netlists.take", "import_netlist"),
    "import_record": ("report.record_import", "import_record"),
    "import_text": ("report.text_import", "import_text"),
    "instruments": ("readings.instruments", "instruments"),
    "known": ("diagnosis.knowledge", "known"),
    "limits": ("diagnosis.limits", "limits"),
    "list_faults": ("faults.listing", "listing"),
    "match": ("diagnosis.match", "match"),
    "next_line": ("report.text_next", "next_line"),
    "next_reading": ("diagnosis.next_reading", "next_reading"),
    "next_record": ("report.record_next", "next_record"),
    "next_text": ("report.text_next", "next_text"),
    "open_unit": ("unit.read", "open_unit"),
    "order_text": ("report.text_drill", "order_text"),
    "outlook": ("teach.outlook", "outlook"),
    "parse_fault": ("faults.parse", "parse"),
    "part_checks": ("diagnosis.off_checks", "part_checks"),
    "placed_stage": ("unit.placed_stage", "placed_stage"),
    "power_off": ("signatures.poweroff", "power_off"),
    "predict": ("signatures.predict", "predict"),
    "predict_off": ("signatures.poweroff_predict", "predict_off"),
    "prediction_pictures": ("report.folders", "prediction_pictures"),
    "prediction_record": ("report.records", "prediction_record"),
    "prediction_text": ("report.text_predict", "prediction_text"),
    "prove_running": ("circuit.running", "prove_running"),
    "rates": ("faults.rates", "rates"),
    "read_readings": ("readings.read", "read"),
    "route": ("teach.route", "route"),
    "route_html": ("report.route_html", "route_html"),
    "route_record": ("report.record_route", "route_record"),
    "route_text": ("report.text_route", "route_text"),
    "score_record": ("teach.score", "score_record"),
    "sentences": ("signatures.sentences", "sentences"),
    "sheet": ("bench.sheet", "sheet"),
    "sheet_html": ("report.sheet_html", "render_html"),
    "sheet_text": ("report.sheet_text", "render_text"),
    "signature_table": ("signatures.build", "table"),
    "stage": ("unit.library", "stage"),
    "stage_gains": ("signatures.gains", "stage_gains"),
    "stage_record": ("report.record_stage", "stage_record"),
    "stage_text": ("report.text_stage", "stage_text"),
    "stages": ("unit.library", "stages"),
    "stages_text": ("report.text_stage", "stages_text"),
    "table_from": ("signatures.build", "table_from"),
    "table_text": ("report.text_table", "table_text"),
    "two_at_once": ("diagnosis.two", "two_at_once"),
    "unexplained_alone": ("diagnosis.two", "unexplained_alone"),
    "units_text": ("report.text_units", "units_text"),
    "verdict_pictures": ("report.folders", "verdict_pictures"),
    "verdict_record": ("report.records", "verdict_record"),
    "verdict_text": ("report.text_match", "verdict_text"),
    "with_reference": ("readings.reference", "with_reference"),
    "write_readings": ("readings.write", "write"),
    "write_sheet_pdf": ("report.sheet_pdf", "write_pdf"),
    "write_table": ("signatures.build", "write_table"),
    "write_unit": ("netlists.write", "write_unit"),
}

__all__ = [
    "Allowances",
    "Caution",
    "Check",
    "Circuit",
    "Debrief",
    "Drill",
    "DrillBench",
    "Fault",
    "Imported",
    "Knowledge",
    "Limits",
    "Move",
    "Next",
    "NextReading",
    "Pool",
    "Prediction",
    "Problem",
    "Rates",
    "Reading",
    "Readings",
    "Session",
    "Sheet",
    "Suspect",
    "Table",
    "Tried",
    "Unit",
    "UserError",
    "Verdict",
    "WorkersGone",
    "allowances",
    "answer_text",
    "begin_drill",
    "build_circuit",
    "cautions",
    "check",
    "check_text",
    "cluster",
    "compare_printed",
    "debrief",
    "debrief_text",
    "do_in_drill",
    "draw_stage",
    "explain",
    "explain_html",
    "explain_record",
    "explain_text",
    "find_units",
    "free_folder",
    "import_netlist",
    "import_record",
    "import_text",
    "instruments",
    "known",
    "limits",
    "list_faults",
    "match",
    "next_line",
    "next_reading",
    "next_record",
    "next_text",
    "open_unit",
    "order_text",
    "outlook",
    "parse_fault",
    "part_checks",
    "placed_stage",
    "power_off",
    "predict",
    "predict_off",
    "prediction_pictures",
    "prediction_record",
    "prediction_text",
    "prove_running",
    "rates",
    "read_readings",
    "route",
    "route_html",
    "route_record",
    "route_text",
    "score_record",
    "sentences",
    "sheet",
    "sheet_html",
    "sheet_text",
    "signature_table",
    "stage",
    "stage_gains",
    "stage_record",
    "stage_text",
    "stages",
    "stages_text",
    "table_from",
    "table_text",
    "two_at_once",
    "unexplained_alone",
    "units_text",
    "verdict_pictures",
    "verdict_record",
    "verdict_text",
    "with_reference",
    "write_readings",
    "write_sheet_pdf",
    "write_table",
    "write_unit",
]


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module 'lostgain' has no attribute '{name}'")
    module, theirs = _PLACES[name]
    value = getattr(import_module(f"lostgain.{module}"), theirs)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
