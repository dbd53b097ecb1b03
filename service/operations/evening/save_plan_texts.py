"""Storing plans as they are read: in the unit that published them, or right after it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

import numpy as np
import orjson

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.plan_texts import plan_text, site_of
from service.pulses import Pulse
from service.records.farms import BlockLabel
from service.records.plan_reasoning import read_reasoning
from service.records.plans import PublishedPlan, WrittenPlans

KEPT_DAYS = timedelta(days=2)
"""How many days before the planned day plan texts are kept."""


def save_plan_texts(unit: UnitOfWork, written: WrittenPlans) -> None:
    """Render and store the new versions among these plans, in the unit that published them."""
    labels = _labels_of(unit, written)
    _save(unit, written, plan_texts(written, labels))


def save_texts_later(
    written: WrittenPlans, farm_keys: Ints, *, unit_of_work: UnitOfWorkFactory
) -> None:
    """As :func:`save_plan_texts`, once the plans are out: who waits for the farms waits less.

    A plan that has been replaced meanwhile, or whose block has another name by now, is left to be
    rendered when it is read, as it would be if this process died before.
    """
    with unit_of_work(write=False) as unit:
        labels = _labels_of(unit, written)
    texts = plan_texts(written, labels)
    with unit_of_work(write=True, farm_keys=farm_keys.tolist()) as unit:
        in_force = unit.plans.read_versions(written.block_keys, day=written.rows.day)
        now = _labels_of(unit, written)
        versions = zip(written.block_keys.tolist(), written.new.versions.tolist(), strict=True)
        current = [
            in_force.get(key) == version and now.get(key) == labels.get(key)
            for key, version in versions
        ]
        _save(unit, written, texts, np.flatnonzero(current))


def _labels_of(unit: UnitOfWork, written: WrittenPlans) -> Mapping[int, BlockLabel]:
    return unit.blocks.read_labels(written.block_keys, day=written.rows.day)


def _save(
    unit: UnitOfWork, written: WrittenPlans, texts: Sequence[bytes], chosen: Ints | None = None
) -> None:
    if chosen is None:
        chosen = np.arange(len(texts))
    day = written.rows.day
    if chosen.size:
        unit.texts.save(
            written.block_keys[chosen],
            [texts[row] for row in chosen.tolist()],
            day=day,
            drop_before=day - KEPT_DAYS,
        )


def plan_texts(written: WrittenPlans, labels: Mapping[int, BlockLabel]) -> list[bytes]:
    """The new versions among these plans as they are read, with the labels of their blocks."""
    rows, new, issued_at = written.rows, written.new, written.issued_at
    chosen = new.rows.tolist()
    sites = {key: site_of(text, rows.day) for key, text in written.bases.items()}
    texts = []
    basis_keys, block_keys = rows.basis_keys.tolist(), rows.block_keys.tolist()
    planned_min, gross_mm, net_mm = (
        rows.planned_min.tolist(), rows.gross_mm.tolist(), rows.net_mm.tolist(),
    )  # fmt: skip
    for row, version in zip(chosen, new.versions.tolist(), strict=True):
        label, site = labels[block_keys[row]], sites[basis_keys[row]]
        plan = PublishedPlan(
            plan_key=0,
            block_id=label.block_id,
            day=rows.day,
            version=version,
            status=rows.status[row],
            issued_at=issued_at,
            superseded_at=None,
            planned_min=planned_min[row],
            gross_mm=gross_mm[row],
            net_mm=net_mm[row],
            pulses=tuple(map(Pulse._make, orjson.loads(rows.pulses[row]))),
            reasoning=read_reasoning(rows.numbers[row]),
            weather=site.weather,
        )
        texts.append(plan_text(plan, label, site))
    return texts
