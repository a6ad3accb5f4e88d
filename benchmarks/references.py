"""References: general classifiers trained on many samples of the very process that the cases come from.

What they reach is about what the readings hold; the diagnosis, which knows the schematic and the stated prior but not
the process, is measured against the best of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn.discriminant_analysis import QuadraticDiscriminantAnalysis
from sklearn.ensemble import ExtraTreesClassifier
from sklearn.neighbors import NearestNeighbors

from benchmarks.answers import Answer
from lostgain.circuit import Circuit
from lostgain.readings import Reading, instruments

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: Class of the healthy unit.
HEALTHY = ""
#: A mode with a severity is split into so many classes, the mildest to the worst, for the Gaussian reference.
SPLIT = 5
#: How far the covariance of a class, which has few samples, is pulled to a round one.
SHRINK = 0.3
NEIGHBOURS = 25
TREES = 300
#: DC is compared in volts below this and as a ratio above it [V].
DC_SCALE = 0.05
#: What a share of the training circuits, held out, chooses from: sharpness and admixture of the prior.
SHARPNESS = (0.15, 0.25, 0.4, 0.6, 0.8, 1.0, 1.3)
ADMIXTURE = (1e-4, 1e-3, 1e-2, 3e-2, 0.1)
HELD_OUT = 0.15


@dataclass(frozen=True)
class Samples:
    """Readings with what they are of.

    Parameters
    ----------
    x : array, (sample, feature)
    part : array of str, (sample,)
        `HEALTHY` for a healthy unit.
    mode : array of int, (sample,)
        Number of part and mode; -1 for healthy.
    severity : array, (sample,)
        NaN where the mode has none.
    weight : array, (sample,)
        Prior probability each stands for.
    circuit : array of int, (sample,)
        Samples of one number are the same circuit, read with other instruments.
    """

    x: Values
    part: NDArray[np.str_]
    mode: Whole
    severity: Values
    weight: Values
    circuit: Whole

    def at(self, which: NDArray[np.bool_]) -> Samples:
        """Return some of them."""
        return Samples(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


def features(circuit: Circuit, rows: Sequence[Reading], fill: Values | None = None) -> Values:
    """Return the first sheet as numbers: decibels and compressed volts, and the steps from point to point.

    Parameters
    ----------
    circuit : Circuit
    rows : sequence of Reading
    fill : array or None
        What stands in for readings that are not there; NaN if None.
    """
    setup = circuit.unit.setup
    floor = instruments(circuit.unit.folder)[setup.instrument].floor_level
    points = [point.name for point in circuit.unit.points if point.reach and point.name in circuit.points]
    place = {name: number for number, name in enumerate(points)}
    level = np.full((len(points), len(setup.frequencies)), np.nan)
    dc = np.full(len(points), np.nan)
    for row in rows:
        if row.quantity == "dc" and row.value is not None:
            dc[place[row.point]] = np.arcsinh(row.value / DC_SCALE)
        elif row.quantity == "level" and row.frequency is not None:
            at = place[row.point], setup.frequencies.index(row.frequency)
            level[at] = 10 * np.log10((row.value or 0.0) ** 2 + floor**2)
    found = np.concatenate([level.ravel(), dc, np.diff(level, axis=0).ravel(), np.diff(level, axis=1).ravel()])
    return found if fill is None else np.where(np.isfinite(found), found, fill)


class Reference:
    """One classifier, its probabilities sharpened and mixed with the prior as held-out circuits ask for.

    Parameters
    ----------
    kind : str
        ``gaussian``, ``extra-trees`` or ``neighbours``.
    train : Samples
    stages : mapping
        Part to stage.
    seed : int
    """

    def __init__(self, kind: str, train: Samples, stages: dict[str, str], seed: int = 0) -> None:
        self.kind, self.stages, self.seed = kind, stages, seed
        self.classes = sorted(set(train.part.tolist()))
        self.prior = np.array([train.weight[train.part == name].sum() for name in self.classes])
        self.prior /= self.prior.sum()
        self.sharpness, self.admixture = 1.0, 1e-3
        rng = np.random.default_rng(seed)
        numbers = np.unique(train.circuit)
        held = np.isin(train.circuit, rng.choice(numbers, max(1, int(HELD_OUT * len(numbers))), replace=False))
        self._fit(train.at(~held))
        self._tune(train.at(held))
        self._fit(train)

    def _fit(self, train: Samples) -> None:
        self._scale(train)
        x = self._scaled(train.x)
        if self.kind == "extra-trees":
            self._trees = ExtraTreesClassifier(TREES, min_samples_leaf=2, n_jobs=1, random_state=self.seed)
            self._trees.fit(train.x, train.part, sample_weight=train.weight / train.weight.mean())
        elif self.kind == "neighbours":
            self._near = NearestNeighbors(n_neighbors=min(NEIGHBOURS, len(x))).fit(x)
            self._train = train
        else:
            label = _classes(train)
            counts = np.bincount(label)
            weight = np.bincount(label, weights=train.weight)
            usable = np.flatnonzero(counts > 1)
            keep = np.isin(label, usable)
            self._of = {int(each): str(train.part[label == each][0]) for each in usable}
            prior = weight[usable] / weight[usable].sum()
            self._normal = QuadraticDiscriminantAnalysis(solver="eigen", shrinkage=SHRINK, priors=prior)
            self._normal.fit(x[keep], label[keep])

    def _scale(self, train: Samples) -> None:
        """Take the mean spread within a class as the unit of each direction."""
        label = _classes(train)
        order = np.unique(label, return_inverse=True)[1]
        count = np.bincount(order).astype(float)
        means = np.stack([np.bincount(order, weights=column) / count for column in train.x.T], axis=1)
        off = train.x - means[order]
        off = off[np.abs(off).max(axis=1) < np.quantile(np.abs(off).max(axis=1), 0.8)]
        values, vectors = np.linalg.eigh(np.cov(off.T) + 1e-6 * np.eye(off.shape[1]))
        kept = values > 1e-4
        self._whiten = vectors[:, kept] / np.sqrt(values[kept])

    def _scaled(self, x: Values) -> Values:
        return np.asarray(x @ self._whiten)

    def _raw(self, x: Values) -> Values:
        """Probabilities as the classifier gives them: array, (sample, class)."""
        found = np.zeros((len(x), len(self.classes)))
        place = {name: number for number, name in enumerate(self.classes)}
        if self.kind == "extra-trees":
            columns = [place[str(name)] for name in self._trees.classes_]
            found[:, columns] = self._trees.predict_proba(x)
        elif self.kind == "neighbours":
            far, index = self._near.kneighbors(self._scaled(x))
            near = self._train.weight[index] / (far**2 / (far[:, -1:] ** 2 + 1e-12) + 0.1)
            for name, column in place.items():
                found[:, column] = np.where(self._train.part[index] == name, near, 0).sum(axis=1)
        else:
            many = self._normal.predict_proba(self._scaled(x))
            for number, label in enumerate(self._normal.classes_):
                found[:, place[self._of[int(label)]]] += many[:, number]
        total = found.sum(axis=1, keepdims=True)
        return np.where(total > 0, found / np.where(total > 0, total, 1), self.prior)

    def _tune(self, held: Samples) -> None:
        raw = self._raw(held.x)
        true = np.array([self.classes.index(str(name)) for name in held.part])
        best = np.inf
        for sharpness in SHARPNESS:
            for admixture in ADMIXTURE:
                p = self._mixed(raw, sharpness, admixture)[np.arange(len(true)), true]
                loss = -np.sum(held.weight * np.log(p)) / held.weight.sum()
                if loss < best:
                    best, self.sharpness, self.admixture = loss, sharpness, admixture

    def _mixed(self, raw: Values, sharpness: float, admixture: float) -> Values:
        sharp = np.maximum(raw, 1e-300) ** sharpness
        sharp /= sharp.sum(axis=1, keepdims=True)
        return np.asarray((1 - admixture) * sharp + admixture * self.prior)

    def answers(self, x: Values) -> list[Answer]:
        """Return the answer to each sample."""
        found = []
        for row in self._mixed(self._raw(x), self.sharpness, self.admixture):
            parts = {name: float(p) for name, p in zip(self.classes, row, strict=True) if name != HEALTHY}
            stages: dict[str, float] = {}
            for name, p in parts.items():
                stages[self.stages[name]] = stages.get(self.stages[name], 0.0) + p
            found.append(Answer(parts, stages, float(row[self.classes.index(HEALTHY)])))
        return found


def _classes(train: Samples) -> Whole:
    """Part and mode, with severities split into `SPLIT` of equal count: array, (sample,), from 0."""
    label = np.zeros(len(train.mode), dtype=int)
    for mode in np.unique(train.mode):
        mine = np.flatnonzero(train.mode == mode)
        level = train.severity[mine]
        rank = np.zeros(len(mine), dtype=int)
        if np.isfinite(level).all() and len(np.unique(level)) > SPLIT:
            rank = np.searchsorted(np.quantile(level, np.arange(1, SPLIT) / SPLIT), level)
        label[mine] = (mode + 1) * SPLIT + rank
    return np.asarray(np.unique(label, return_inverse=True)[1])
