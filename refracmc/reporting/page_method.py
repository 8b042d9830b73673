"""The last sections of the page: how the numbers were made, and the cautions."""

from __future__ import annotations

from refracmc.reporting.captions import GROSS, OWNER, PERCENTILES, by_well, error_words, money_basis, spoken
from refracmc.reporting.columns_over_wells import OVER_WELLS
from refracmc.reporting.page import Note, Section
from refracmc.reporting.tables import ReportData


def method_section(data: ReportData, over_wells: bool = False, above: str = "") -> Section:
    """Sampling, money, model, conventions, files, and the notes of the run.

    over_wells: whether the page is of all wells together; above: the folder of the run as seen from the page.
    """
    facts = data.facts
    blocks = f" in {facts.blocks:,} blocks" if facts.blocks else ""
    files = ", ".join(
        key for key in data.tables if key != "summary" and (over_wells or key not in OVER_WELLS)
    )
    version = f" Made with version {facts.version}." if facts.version else ""
    paragraphs = (
        f"{facts.trials:,} trials{blocks} by {spoken(facts.design)} sampling, seed {facts.seed}. Every strategy, doing "
        "nothing included, is valued on the same trials, and each difference is taken trial by trial.",
        f"Money is {money_basis(facts)}, {OWNER} (costs by the working interest, revenue by the net revenue interest) "
        f"or {GROSS}; mid-month discounting, horizon {facts.horizon_months} months. Price model: "
        f"{spoken(facts.price_model)}.",
        "In each trial the decline is drawn from the joint posterior of the well's own history (or from its stated "
        "type curve), the job is simulated sleeve by sleeve with its failures, and the treated stages add a stream to "
        "what is kept of the old one. Both branches run to their economic limit and are abandoned there.",
        f"{PERCENTILES} This holds for costs and days too. Numbers are shown only to the digits that their standard "
        "error supports. An outcome that is undefined in a trial is counted and shown. A standard error says how far "
        "another seed would move a number, its new fit of the decline included; it says nothing of the inputs. "
        f"{error_words(facts)}",
        f"Files: {above}summary.csv and .parquet; in {above}tables/: {files}.{version}",
    )
    return Section(
        "Method",
        "method",
        (Note((*paragraphs, *facts.notes, *(() if over_wells else by_well(facts.well_notes)))),),
    )


def cautions_section() -> Section:
    """What the page is not, and to whom pressure work defers."""
    paragraphs = (
        "Pressure, coiled-tubing work and well control defer to local codes, to the operator's procedures and to "
        "licensed engineers.",
        "This is a screening study. It is not a reserves statement and not investment advice.",
    )
    return Section("Cautions", "cautions", (Note(paragraphs, kind="caution"),))
