"""What page one tells before its advice. Oracle: the facts handed over."""

from refracmc.reporting.page import Note
from refracmc.reporting.page_decision import decision_section
from refracmc.reporting.page_well import well_section
from refracmc.reporting.tables import build_report_data


def test_page_one_tells_it_before_any_advice(tables, fact_maker) -> None:
    facts = fact_maker(response_told=("The answer assumes that every job responds.",))
    blocks = decision_section(build_report_data(facts, tables)).blocks
    notes = [block for block in blocks if isinstance(block, Note)]
    told = [k for k, note in enumerate(notes) if facts.response_told[0] in note.paragraphs]
    advice = [k for k, note in enumerate(notes) if note.kind.startswith("verdict")]
    assert told
    assert told[0] < advice[0]


def test_what_a_history_leaves_open_stands_on_page_one(tables, fact_maker) -> None:
    facts = fact_maker(history_told=(("LK-01", "the history ends in 2025-01."),))
    titles = [
        getattr(block, "title", "") for block in decision_section(build_report_data(facts, tables)).blocks
    ]
    assert "What the histories leave open" in titles
    plain = decision_section(build_report_data(fact_maker(), tables)).blocks
    assert "What the histories leave open" not in [getattr(block, "title", "") for block in plain]


def test_the_chance_to_stand_idle_follows_the_production_chart(tables, fact_maker) -> None:
    section = well_section(build_report_data(fact_maker(), tables), (), "LK-01", "well-1", "LK-01")
    table = next(
        block for block in section.blocks if getattr(block, "caption", "").startswith("Uptime ahead")
    )
    assert table.rows == (("96.0 %", "97.0 %", "0", "82.0 %", "4.0 %", "1.0 %", "78.0 %"),)
