"""Start doses that the log suggests for the planned baths of a visit, for a plan in which they are blank."""

from __future__ import annotations

from collections.abc import Iterable

from workbook_tools.across.observations import band_of
from workbook_tools.across.responses import Learned
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.ids import id_key


def learned_starts(learned: Learned, baths: Iterable[Row]) -> dict[tuple[str, str], tuple[float, str]]:
    """Suggested start doses by species and agent, with what they rest on.

    Parameters
    ----------
    learned : what the log has learned.
    baths : rows of the Baths sheet that are planned; those with a start dose are left alone.

    Returns
    -------
    Dose [mg/L] and words for each species and agent of a bath without a start dose: the suggestion for the
    temperature of the bath, or of its water reading; with no temperature known, or baths of several, the lowest.
    """
    found: dict[tuple[str, str], tuple[float, str]] = {}
    for bath in baths:
        if bath["start_dose"] is not None or bath["species"] is None or bath["agent"] is None:
            continue
        key = (str(bath["species"]), str(bath["agent"]))
        band = band_of(bath["temperature"] if bath["temperature"] is not None else bath["wtemp"])
        for lesson in learned.only(*key).lessons:
            dose = lesson.suggestion.dose
            if dose is not None and band in (None, lesson.band) and dose < found.get(key, (float("inf"), ""))[0]:
                at = "" if band is not None else f"{lesson.title}, the temperature of the bath is not known: "
                found[key] = dose, f"{at}{lesson.words}"
    return found


def planned_baths(computed: Computed, visit: str | None) -> list[Row]:
    """The baths of a visit, or of all visits, that are not made yet."""
    return [
        row
        for row in computed.data["baths"]
        if row["drug_weighed"] is None
        and row["started"] is None
        and (visit is None or id_key(row["visit"]) == id_key(visit))
    ]
