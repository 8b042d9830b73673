"""Which inputs differ between two tables of inputs. Oracle: small tables worked by hand."""

from refracmc.decisions.input_changes import InputsByWell, input_changes, wells_of_changes


def inputs(*rows: tuple[str | None, str, str]) -> InputsByWell:
    return InputsByWell(
        [{"well": well, "variable": name, "unit": "ft", "distribution": text} for well, name, text in rows]
    )


def change(well: str | None, name: str, before: str | None, after: str | None) -> dict:
    return {"well": well, "input": name, "unit": "ft", "before": before, "after": after}


def test_changes_of_all_wells_stand_once() -> None:
    """A key that the wells share in one run and state each for itself in the other is held well by well."""
    before = inputs((None, "a", "1"), (None, "b", "2"), ("V", "c", "3"), ("W", "c", "4"), (None, "d", "5"))
    after = inputs((None, "a", "1"), (None, "b", "7"), ("V", "c", "9"), ("W", "c", "4"), ("W", "e", "6"))
    assert input_changes(before, after, ["V", "W"]) == [
        change(None, "b", "2", "7"),
        change("V", "c", "3", "9"),
        change(None, "d", "5", None),
        change("W", "e", None, "6"),
    ]
    own = inputs(
        ("V", "a", "1"), ("W", "a", "8"), (None, "b", "2"), ("V", "c", "3"), ("W", "c", "4"), (None, "d", "5")
    )
    assert input_changes(before, own, ["V", "W"]) == [change("W", "a", "1", "8")]
    assert input_changes(before, before, ["V", "W"]) == []


def test_wells_with_the_same_change_are_told_together() -> None:
    rows = [change(well, "c", "3", "9") for well in "STUVW"] + [
        change("X", "c", "4", "9"),
        change(None, "b", "2", "7"),
    ]
    assert [row["well"] for row in wells_of_changes(rows)] == ["S, T, U and 2 more", "X", "all"]
