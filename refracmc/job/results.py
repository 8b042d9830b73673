"""What a simulated job gives: counts, hours, days, and what each sleeve is left with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from refracmc.job.days import Counts, Days, Hours
from refracmc.job.inputs import JobPolicy
from refracmc.job.luck import BlockLuck
from refracmc.job.machine import KINDS, Plan
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray


class Sleeves(NamedTuple):
    """What happens at each sleeve in one job, (N,) bool. *_unseen: leaks, and the test does not find it; *_cycled:
    found to leak and cycled; blocked: deeper than a patch that no tool passes; slim: treated below a patch that narrows
    the bore; perforate2: after a reopening that failed."""

    close_tried: BoolArray
    closed: BoolArray
    close_unseen: BoolArray
    close_cycled: BoolArray
    patch_tried: BoolArray
    patched: BoolArray
    blocked: BoolArray
    open_tried: BoolArray
    opened: BoolArray
    perforate_tried: BoolArray
    perforated: BoolArray
    treated: BoolArray
    slim: BoolArray
    reclose_tried: BoolArray
    reclosed: BoolArray
    reclose_unseen: BoolArray
    reclose_cycled: BoolArray
    reopen_tried: BoolArray
    reopened: BoolArray
    perforate2_tried: BoolArray
    perforated2: BoolArray
    producing: BoolArray


class Record(NamedTuple):
    """Jobs in full, of S strategies (0: none asked for): counts (C, S, n), hours (H, S, n) and days (7, S, n) in the
    order of `Counts`, `Hours` and `Days`; off (S, n) called off; sleeves (K, S, n, N) in the order of `Sleeves`;
    failed (4, S, n, N) tries that fail by kind of shift, were it tried; fluid (3, S, n, N) placed, received and
    effectiveness [-]."""

    counts: IntArray
    hours: FloatArray
    days: FloatArray
    off: BoolArray
    sleeves: BoolArray
    failed: IntArray
    fluid: FloatArray


def record_for(strategies: int, trials: int, sleeves: int) -> Record:
    """Room for the record of so many strategies, in the units of its parts [counts, h, days, fractions]."""
    each = (strategies, trials)
    return Record(
        np.zeros((len(Counts._fields), *each), dtype=np.int64),
        np.zeros((len(Hours._fields), *each)),
        np.zeros((len(Days._fields), *each)),
        np.zeros(each, dtype=bool),
        np.zeros((len(Sleeves._fields), *each, sleeves), dtype=bool),
        np.zeros((len(KINDS), *each, sleeves), dtype=np.int64),
        np.zeros((3, *each, sleeves)),
    )


@dataclass(frozen=True, eq=False)
class JobDetail:
    """Sleeve by sleeve, all (N, n): tried, worked (of those tried) and tries for each kind of shift; patch
    and perforation attempts and successes; what was received elsewhere; which sleeves produce at the end;
    which were cycled for a leak found after a close or reclose; which lie deeper than a patch that stops the
    tools; works: whether each kind of shift would work, tried or not."""

    tried: dict[str, BoolArray]
    worked: dict[str, BoolArray]
    tries: dict[str, IntArray]
    patch_tried: BoolArray
    patched: BoolArray
    perforate_tried: BoolArray
    perforated: BoolArray
    perforate2_tried: BoolArray
    perforated2: BoolArray
    received: FloatArray
    producing: BoolArray
    cycled: dict[str, BoolArray]
    blocked: BoolArray
    works: dict[str, BoolArray]


@dataclass(frozen=True, eq=False)
class JobResult:
    """Outcome of a job. (n,) over trials unless marked.

    days = days_before_ct + ct_days + stuck_days + casing_days + pumping_days + days_after_ct [days]; ct_days
    [days] with non-productive time and waiting; ct_hours [h] of CT work without; hours parts cleanout, travel,
    shifting, testing, treating, screenouts, patching, perforating, trips [h], and slim_tools where that rule is on,
    which sum to ct_hours.
    counts: close_tried/_failed and so on for open, reclose, reopen; shifts (those tried; a reseating is two), tries,
    tests, treated, trips, screenouts, patch_tries, patched, perforate_tries, perforated; slim_stages and
    string_changes where the rule is on.
    kept, effectiveness (before stress), placed : (n, N) [-]; treated : (n, N) bool.
    pumping_days : days of a phase with the pumping crew and no coiled tubing (methods beside reclosed sleeves), part
    of days; frac_days : days the pumping crew is on location: ct_days where it stands by while CT shifts.
    isolation_usd : cost of an isolation method beside reclosed sleeves, before the service index [US$].
    called_off, stuck, lost, casing_failed : bool. stages_effective_share : mean effectiveness over the planned
    stages, 0 where the job is called off or the well lost [-].
    """

    days: FloatArray
    days_before_ct: FloatArray
    ct_days: FloatArray
    stuck_days: FloatArray
    days_after_ct: FloatArray
    ct_hours: FloatArray
    hours: dict[str, FloatArray]
    counts: dict[str, IntArray]
    kept: FloatArray
    effectiveness: FloatArray
    placed: FloatArray
    treated: BoolArray
    called_off: BoolArray
    stuck: BoolArray
    lost: BoolArray
    stages_effective_share: FloatArray
    casing_days: FloatArray
    casing_failed: BoolArray
    isolation_usd: FloatArray
    pumping_days: FloatArray
    frac_days: FloatArray
    detail: JobDetail | None = None


def _detail(record: Record, c: int, max_tries: int, reseats: BoolArray) -> JobDetail:
    at = {name: record.sleeves[k, c].T for k, name in enumerate(Sleeves._fields)}
    worked = {"close": "closed", "open": "opened", "reclose": "reclosed", "reopen": "reopened"}
    tried = {kind: at[f"{kind}_tried"] for kind in KINDS}
    cycled = {kind: at[f"{kind}_cycled"] for kind in ("close", "reclose")}
    shifts = {kind: mask.astype(np.int64) for kind, mask in tried.items()}
    shifts["close"][reseats] *= 2  # each try opens it, then closes it
    used = {kind: np.minimum(record.failed[k, c].T + 1, max_tries) for k, kind in enumerate(KINDS)}
    return JobDetail(
        tried=tried,
        worked={kind: at[name] for kind, name in worked.items()},
        tries={kind: used[kind] * shifts[kind] + cycled.get(kind, 0) for kind in KINDS},
        patch_tried=at["patch_tried"],
        patched=at["patched"],
        perforate_tried=at["perforate_tried"],
        perforated=at["perforated"],
        perforate2_tried=at["perforate2_tried"],
        perforated2=at["perforated2"],
        received=record.fluid[1, c].T,
        producing=at["producing"],
        cycled=cycled,
        blocked=at["blocked"],
        works={kind: max_tries > record.failed[k, c].T for k, kind in enumerate(KINDS)},
    )


def result_of(
    record: Record, c: int, share: FloatArray, block: BlockLuck, plan: Plan, policy: JobPolicy, detail: bool
) -> JobResult:
    """The c-th job of a record; share (n,): mean effectiveness over its stages [fraction]; detail: sleeve by sleeve
    too."""
    counts = {name: record.counts[k, c] for k, name in enumerate(Counts._fields) if name != "bha_changes"}
    hours = {name: record.hours[k, c] for k, name in enumerate(Hours._fields)}
    if policy.patched_restricts != "slim":
        del counts["slim_stages"], hours["slim_tools"]
    if plan.changes is None:
        del counts["string_changes"]
    days = Days(*record.days[:, c])
    names = Sleeves._fields
    producing = record.sleeves[names.index("producing"), c]
    return JobResult(
        days=days.total,
        days_before_ct=days.before_ct,
        ct_days=days.ct,
        stuck_days=days.stuck,
        days_after_ct=days.after_ct,
        ct_hours=record.hours[:, c].sum(axis=0),
        hours=hours,
        counts=counts,
        kept=(producing & block.tally.old_producers).astype(float),
        effectiveness=record.fluid[2, c],
        placed=record.fluid[0, c],
        treated=record.sleeves[names.index("treated"), c],
        called_off=record.off[c],
        stuck=block.stuck,
        lost=block.lost,
        stages_effective_share=share,
        casing_days=days.casing,
        casing_failed=block.casing_failed,
        isolation_usd=np.zeros(block.trials),
        pumping_days=days.pumping,
        frac_days=days.ct,
        detail=_detail(record, c, policy.max_tries, plan.reseats) if detail else None,
    )
