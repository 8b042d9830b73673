"""What a simulated job gives: counts, hours, days, and what each sleeve is left with (rules 11 to 13 of
`simulate`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.job.machine import KINDS, Plan
from refracmc.job.shared import ByteArray, JobShared
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class JobDetail:
    """Sleeve by sleeve, all (N, n): tried, worked (of those tried) and tries for each kind of shift; patch
    and perforation attempts and successes; what was received elsewhere; which sleeves produce at the end;
    which were cycled for a leak found after a close or reclose; which lie deeper than a patch that stops the
    tools."""

    tried: dict[str, BoolArray]
    worked: dict[str, BoolArray]
    tries: dict[str, ByteArray]
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


@dataclass(frozen=True, eq=False)
class JobResult:
    """Outcome of a job. (n,) over trials unless marked.

    days = days_before_ct + ct_days + stuck_days + casing_days + pumping_days + days_after_ct [days]; ct_days
    [days] with non-productive time and waiting; ct_hours [h] of CT work without; hours parts cleanout, travel,
    shifting, testing, treating, screenouts, patching, perforating, trips [h], and slim_tools where that rule is on,
    which sum to ct_hours.
    counts: close_tried/_failed and so on for open, reclose, reopen; shifts (those tried), tries, tests, treated,
    trips, screenouts, patch_tries, patched, perforate_tries, perforated; slim_stages and string_changes where the
    rule is on.
    kept, effectiveness (before stress), placed : (n, N) [-]; treated : (n, N) bool. These four are transposed views of
    sleeve-major memory: keep weights in the same layout (np.asfortranarray) for speed.
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


def count(mask: BoolArray | ByteArray) -> IntArray:
    """Number of true sleeves, or sum of small counts, over a (N, n) array: (n,) int64 [-]."""
    bytes_ = mask.view(np.uint8)
    kind = np.uint8 if mask.dtype == np.bool_ and mask.shape[0] < 256 else np.uint32
    return np.asarray(np.add.reduce(bytes_, axis=0, dtype=kind), dtype=np.int64)


def measure(
    plan: Plan,
    sh: JobShared,
    record: JobDetail,
    counts: dict[str, IntArray],
    stage_factor: FloatArray,
    treated: BoolArray,
    called_off: BoolArray,
    effectiveness: FloatArray,
    placed: FloatArray,
    detail: bool,
) -> JobResult:
    """Rules 11 to 13: counts [-], hours and days of a job whose sleeves are settled; arrays in are (N, n)."""
    inputs, n = sh.inputs, sh.trials
    zero = np.zeros(n, dtype=np.int64)
    shifts, tries, tests = zero, zero, zero
    for kind in KINDS:
        tried = worked = zero
        if kind in record.tries:
            tried, worked = count(record.tried[kind]), count(record.worked[kind])
            tries = tries + count(record.tries[kind])
            shifts = shifts + tried
            if kind in ("close", "reclose"):
                tests = tests + worked
                if sh.closed_leak:
                    tests = tests + count(record.cycled[kind])
        counts[f"{kind}_tried"], counts[f"{kind}_failed"] = tried, tried - worked
    counts |= {"shifts": shifts, "tries": tries, "tests": tests}
    feet = np.where(called_off, plan.call_off_travel_ft, plan.travel_ft)
    trip_hours = inputs.hours_per_trip * counts["trips"]
    if plan.changes is not None:
        bha, strings = (plan.changes.count(kind) * ~called_off for kind in ("bha", "string"))
        feet = feet + plan.changes.travel_ft * ~called_off
        trip_hours += inputs.bha_change_hours * bha + inputs.string_change_hours * strings
        counts["trips"] = counts["trips"] + bha
        counts["string_changes"] = strings
    hours: dict[str, FloatArray] = {
        "cleanout": inputs.cleanout_hours + np.zeros(n),
        "travel": feet / (60.0 * inputs.ct_speed_ft_per_min),
        "shifting": inputs.hours_per_try * tries,
        "testing": inputs.hours_per_test * tests,
        "treating": inputs.hours_per_stage * stage_factor,
        "screenouts": inputs.screenout_hours * counts["screenouts"],
        "patching": inputs.patch_hours * counts["patch_tries"],
        "perforating": inputs.perforate_hours * counts["perforate_tries"],
        "trips": trip_hours,
    }
    if "slim_stages" in counts:
        hours["slim_tools"] = inputs.slim_hours_per_stage * counts["slim_stages"]
    ct_hours = np.zeros(n)
    for part in hours.values():
        ct_hours += part
    ct_days = ct_hours * (1.0 + inputs.npt_fraction) / inputs.work_hours_per_day + inputs.waiting_days
    stuck_days = np.where(sh.stuck, inputs.stuck_ct_days, 0.0)
    casing_days = np.where(sh.casing_failed, inputs.casing_failure_days, 0.0)
    share = (plan.treated / len(plan.order)) @ effectiveness
    return JobResult(
        days=inputs.days_before_ct + ct_days + stuck_days + casing_days + inputs.days_after_ct,
        days_before_ct=inputs.days_before_ct + np.zeros(n),
        days_after_ct=inputs.days_after_ct + np.zeros(n),
        ct_days=ct_days,
        ct_hours=ct_hours,
        stuck_days=stuck_days,
        hours=hours,
        counts=counts,
        kept=(record.producing & sh.tally.old_producers[:, None]).astype(float).T,
        effectiveness=effectiveness.T,
        placed=placed.T,
        treated=treated.T,
        called_off=called_off,
        stuck=sh.stuck,
        lost=sh.lost,
        stages_effective_share=np.where(sh.lost, 0.0, share),
        casing_days=casing_days,
        casing_failed=sh.casing_failed,
        isolation_usd=np.zeros(n),
        pumping_days=np.zeros(n),
        frac_days=ct_days,
        detail=record if detail else None,
    )
