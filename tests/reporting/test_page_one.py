"""What page one tells before its advice. Oracle: the facts handed over."""

from refracmc.reporting.page import Note
from refracmc.reporting.page_decision import decision_section
from refracmc.reporting.tables import build_report_data


def test_page_one_tells_it_before_any_advice(tables, fact_maker) -> None:
    facts = fact_maker(response_told=("The answer assumes that every job responds.",))
    blocks = decision_section(build_report_data(facts, tables)).blocks
    notes = [block for block in blocks if isinstance(block, Note)]
    told = [k for k, note in enumerate(notes) if facts.response_told[0] in note.paragraphs]
    advice = [k for k, note in enumerate(notes) if note.kind.startswith("verdict")]
    assert told
    assert told[0] < advice[0]
