"""Twenty real wells valued with the starter's terms: verdict, chance of a loss, value, and what turns each.

    python benchmarks/real_wells.py DATA_DIR --out DIR [--trials N] [--wells N] [--seed N] [--set KEY=VALUE ...]

DATA_DIR holds production.parquet and wells.csv (well_id, main_phase, lateral_m, stages, proppant_t). Chosen are
multistage horizontals with 48 months or more and their completion on record, half oil and half gas, by the seed. The
history, lateral, stages, proppant and date of the completion are the well's; price deck, costs, chances and response
are the starter's, the deck moved to the valuation month. Sleeves stand evenly along the lateral, one a stage, its heel
9,900 ft along the hole, and the tubing reaches the toe (assumptions). A case a well; where it is refused, the message
stands in the table. Runs the package that Python finds, so that an older one can be set beside it.

--set replaces a line of the starter by its key, as --set 'uplift={ dist = "empirical", ... }'."""

from __future__ import annotations

import argparse
import csv
import re
import subprocess
import sys
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd

HEEL_FT = 9_900.0
FT_PER_M = 3.28084
LB_PER_T = 2204.62
LEAST_MONTHS, LEAST_STAGES = 48, 8


def chosen_wells(production: pd.DataFrame, wells: pd.DataFrame, count: int, seed: int) -> pd.DataFrame:
    """`count` wells that meet the rule, half of each main phase, drawn by the seed."""
    months = production.groupby("well_id").size()
    known = wells[wells[["lateral_m", "stages", "proppant_t"]].notna().all(axis=1)]
    fit = known[(known["well_id"].map(months) >= LEAST_MONTHS) & (known["stages"] >= LEAST_STAGES)]
    generator = np.random.default_rng(seed)
    parts = []
    for phase in ("oil", "gas"):
        rows = fit[fit["main_phase"] == phase].sort_values("well_id")
        parts.append(rows.iloc[np.sort(generator.permutation(len(rows))[: count // 2])])
    return pd.concat(parts)


def write_case(
    folder: Path, well: pd.Series, history: pd.DataFrame, trials: int, given: Sequence[str]
) -> Path:
    """Write case.toml, history, sleeves and prices of one well."""
    folder.mkdir(parents=True, exist_ok=True)
    templates = files("refracmc.case") / "templates"
    valuation = pd.Timestamp(history["date"].max()).to_period("M") + 1
    history.to_csv(folder / "history.csv", index=False)
    lateral, stages = float(well["lateral_m"]) * FT_PER_M, int(well["stages"])
    toe = HEEL_FT + lateral
    first = pd.Timestamp(history["date"].min()).strftime("%Y-%m")
    depths = toe - (np.arange(stages) + 0.5) * lateral / stages
    sleeves = [f"{k + 1},{depth:.0f},cement,{first},open,1" for k, depth in enumerate(depths)]
    header = "sleeve,depth_ft,isolation_above,state_date,state,shifts"
    (folder / "sleeves.csv").write_text("\n".join([header, *sleeves]) + "\n", encoding="utf-8")
    deck = (templates / "prices.csv").read_text(encoding="utf-8").splitlines()
    moved = [f"{valuation + k}," + line.split(",", 1)[1] for k, line in enumerate(deck[1:])]
    (folder / "prices.csv").write_text("\n".join([deck[0], *moved]) + "\n", encoding="utf-8")
    text = (templates / "case.toml").read_text(encoding="utf-8")
    text = text[: text.index("[[wells]]")]
    text = re.sub(r"\[strategies\.custom_orders\].*?\n(?=\[)", "", text, flags=re.S)
    lines = {
        "name": '"well"',
        "data_status": '"real"',
        "trials": str(trials),
        "date": f'"{valuation}"',
        "orders": '["toe_to_heel"]',
        "dates": f'{{ first = "{valuation + 3}", every_months = 12, count = 3 }}',
        "charts": "false",
        **dict(item.split("=", 1) for item in given),
    }
    for key, value in lines.items():
        text, found = re.subn(rf"(?m)^{key.strip()} = .*$", lambda _, k=key, v=value: f"{k} = {v}", text)
        if found != 1:
            raise SystemExit(f"{key}: {found} lines of the starter; --set needs a key that stands there once")
    text += f"""[[wells]]
id = "{well["well_id"]}"
history = "history.csv"
tally = "sleeves.csv"
main_phase = "{well["main_phase"]}"

[wells.interests]
working = 1.0
net_revenue = 0.80

[wells.completion]
casing_od_in = 5.5
casing_wall_in = 0.361
casing_grade = "P-110"
ct_od_in = 2.0
ct_reach_ft = {max(18_000.0, toe):.0f}
toe_md_ft = {toe:.0f}
lateral_ft = {lateral:.0f}
proppant_lb_per_ft = {float(well["proppant_t"]) * LB_PER_T / lateral:.0f}
"""
    (folder / "case.toml").write_text(text, encoding="utf-8")
    return folder / "case.toml"


def valued(case: Path, well: pd.Series, months: int) -> dict[str, object]:
    """Run one case; its row of the table. A refused case has the message as its verdict."""
    row: dict[str, object] = {"well": well["well_id"], "phase": well["main_phase"], "area": well["area"]}
    row |= {"months": months, "stages": int(well["stages"])}
    out = case.parent / "run"
    command = [sys.executable, "-m", "refracmc", "run", case.name, "--out", out.name, "--workers", "1"]
    done = subprocess.run(command, cwd=case.parent, capture_output=True, text=True, check=False)
    if done.returncode:
        lines = (done.stderr.strip() or done.stdout.strip()).splitlines()
        return row | {"verdict": "refused: " + " ".join(lines[-3:])[:160]}
    (case.parent / "advice.txt").write_text(done.stdout, encoding="utf-8")
    tables = out / "well" / "tables"
    best = next(csv.DictReader((tables / "decision.csv").open(encoding="utf-8")))
    verdict = _first(tables / "verdicts.csv", "verdict") or _told(done.stdout)
    million = {name: float(best[f"{name}_usd"]) / 1e6 for name in ("mean", "p90", "p50", "p10", "job_cost")}
    return row | {
        "verdict": verdict,
        "best": best["strategy"],
        **{f"{name}_musd": round(value, 2) for name, value in million.items()},
        "p_loss": round(float(best["p_loss"]), 3),
        "turns": _turns(tables / "turning_points.csv"),
    }


def _first(path: Path, column: str) -> str:
    if not path.exists():
        return ""
    return str(next(csv.DictReader(path.open(encoding="utf-8")), {}).get(column, ""))


def _told(text: str) -> str:
    """The words of the advice that say what to do, of a version without a table of verdicts."""
    said = re.search(r"too close to call|Refracture|Leave|not told apart", text)
    return said.group().lower() if said else "?"


def _turns(path: Path) -> str:
    """What turns the verdict, and at which value; what does not is left out."""
    if not path.exists():
        return ""
    rows = [row for row in csv.DictReader(path.open(encoding="utf-8")) if row["turns_at"]]
    return "; ".join(
        f"{row['input']} {'x ' if row['unit'] == 'factor' else ''}{float(row['turns_at']):.2f} {row['verdict_then']}"
        for row in rows
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("data", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=2048)
    parser.add_argument("--wells", type=int, default=20)
    parser.add_argument("--seed", type=int, default=12)
    parser.add_argument("--set", action="append", default=[], metavar="KEY=VALUE")
    told = parser.parse_args()
    production = pd.read_parquet(told.data / "production.parquet")
    production["well_id"] = production["well_id"].astype(str)
    wells = pd.read_csv(told.data / "wells.csv", dtype={"well_id": str})
    rows = []
    for _, well in chosen_wells(production, wells, told.wells, told.seed).iterrows():
        history = production[production["well_id"] == well["well_id"]]
        case = write_case(told.out / str(well["well_id"]), well, history, told.trials, told.set)
        rows.append(valued(case, well, len(history)))
        print(*rows[-1].values(), sep=" | ", flush=True)
    table = pd.DataFrame(rows)
    table.to_csv(told.out / "table.csv", index=False)
    print(table.to_string(index=False))
    print(
        table["verdict"].value_counts().to_string(), f"\nmean chance of a loss {table['p_loss'].mean():.3f}"
    )


if __name__ == "__main__":
    main()
