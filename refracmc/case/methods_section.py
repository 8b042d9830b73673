"""Isolation methods beside reclosed sleeves in the case: [strategies.methods.bullhead], .straddle, .liner.

A method is a strategy where its table is there, even empty. No source gives these numbers for old sleeves but
where one is named.
"""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import StrictInt

from refracmc.case.key_rules import Problem, Section, Uncertain, choice, doubled, integer, number, uncertain

FRACTION = "fraction"


class Bullhead(Section):
    """Everything pumped down the casing into all open sleeves, with diverter between batches."""

    volume_fraction: Uncertain = uncertain(
        0.7, FRACTION, "fluid over that of all stages", 0.0, 3.0, above=True
    )
    pumping_hours_factor: float = number(
        0.4, "", "pumping hours of a stage volume down the casing over those of a sleeve stage", 0.01, 20.0
    )
    diverter_drops: int = integer(8, "drops", "drops of diverter", 0, 500)
    hours_per_drop: Uncertain = uncertain(0.75, "h", "dropping diverter and waiting for it", 0.0)
    diverter_usd_per_drop: Uncertain = uncertain(9_000.0, "US$/drop", "diverter", 0.0)
    share_log_sd: Uncertain = uncertain(
        1.2, "", "log sd of what open sleeves take side by side, without diverter", 0.0, 5.0
    )
    diverter_evens_fraction: Uncertain = uncertain(
        0.5, FRACTION, "share of that spread the diverter removes", 0.0, 1.0
    )
    effect_fraction: Uncertain = uncertain(
        0.45,
        FRACTION,
        "value of a stage's fluid placed so, against one placed alone",
        0.0,
        1.0,
        source="assumption; one well's story: recovery 3.8 % after a bullhead from 3 %, 14 % by liner (trade press)",
    )


class Straddle(Section):
    """Two packers over one open sleeve after another; no sleeve is shifted."""

    sleeves: tuple[StrictInt, ...] | None = choice(None, "list of sleeve numbers, all open ones if absent")
    pumping_hours_factor: float = number(
        2.0, "", "pumping hours of a stage down the tubing over those of a sleeve stage", 0.01, 20.0
    )
    hours_per_set: Uncertain = uncertain(0.8, "h", "setting and releasing the packers once", 0.0)
    seal_chance: Uncertain = uncertain(0.9, FRACTION, "one set seals", 0.0, 1.0)
    sets_per_trip: int = integer(12, "sets", "sets the packers last", 1, 1000)
    tool_usd_per_set: Uncertain = uncertain(3_500.0, "US$/set", "packers and tools per set", 0.0)
    effect_fraction: Uncertain = uncertain(
        0.85, FRACTION, "value of a stage through the straddle at its lower rate", 0.0, 1.0
    )

    def problems(self) -> list[Problem]:
        if self.sleeves is not None and not self.sleeves:
            return [(("sleeves",), "an empty list", "sleeve numbers", "list the sleeves, or remove the key")]
        return doubled(("sleeves",), self.sleeves or (), "sleeve", "remove the doubled numbers")


class Liner(Section):
    """A liner cemented inside, plug-and-perf stages through it; sleeves and bore are lost for later jobs."""

    liner_days: Uncertain = uncertain(6.0, "d", "running, cementing and testing the liner", 0.0)
    liner_usd: Uncertain = uncertain(550_000.0, "US$", "liner, hanger, cement and crews", 0.0)
    liner_fails_chance: Uncertain = uncertain(0.04, FRACTION, "the liner is not set or not tight", 0.0, 1.0)
    stage_spacing_ft: float = number(200.0, "ft", "length of a stage", 1.0, 5000.0)
    hours_per_stage: Uncertain = uncertain(4.0, "h", "plug, perforations and pumping of a stage", 0.0)
    stage_usd: Uncertain = uncertain(
        25_000.0,
        "US$/stage",
        "plug, guns and wireline, beside crew days, materials and water",
        0.0,
        source="assumption; a whole plug-and-perf stage cost 50,000 to 78,000 at a market low (trade press)",
    )
    volume_factor: Uncertain = uncertain(
        2.0, "", "fluid of a liner stage over that of a sleeve stage", 0.0, 20.0
    )
    stage_fails_chance: Uncertain = uncertain(0.03, FRACTION, "a stage is lost", 0.0, 1.0)
    drill_out_hours_per_plug: Uncertain = uncertain(0.8, "h", "milling a plug by coiled tubing", 0.0)
    old_kept_fraction: Uncertain = uncertain(
        0.5, FRACTION, "old production that comes back through the new perforations", 0.0, 1.0
    )
    failed_kept_fraction: Uncertain = uncertain(
        0.6, FRACTION, "old production left where the liner is not set", 0.0, 1.0
    )
    effect_factor: Uncertain = uncertain(
        1.3,
        "",
        "value of a stage through new perforations, against one through its old sleeve",
        0.0,
        5.0,
        source="assumption; liner results are an upper bound (recovery 14 % against 3.8 %, one well, trade press)",
    )


class Methods(Section):
    """The methods a case compares beside reclosed sleeves."""

    bullhead: Bullhead | None = choice(None, "table; absent: not compared")
    straddle: Straddle | None = choice(None, "table; absent: not compared")
    liner: Liner | None = choice(None, "table; absent: not compared")

    def chosen(self) -> Iterator[tuple[str, Bullhead | Straddle | Liner]]:
        """(name, section) of each method there is."""
        for name in type(self).model_fields:
            section = getattr(self, name)
            if section is not None:
                yield name, section

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the methods there are."""
        return tuple(name for name, _ in self.chosen())
