"""What a person put round the cells of a sheet of ours: rules, notices, links, sparklines, page set-up, widths."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy

from lxml import etree

from workbook_tools.xlsx.editing.parts import Element, local
from workbook_tools.xlsx.editing.sheet_rows import SheetRows

# Elements of which a sheet has many; each entry is a person's or ours by itself.
LISTS = {"conditionalFormatting": "cfRule", "dataValidations": "dataValidation", "hyperlinks": "hyperlink"}
# Elements of which a sheet has one, and which point to no other part: a person's takes the place of ours.
SINGLE = (
    *("sheetProtection", "protectedRanges", "scenarios", "autoFilter", "sortState", "customSheetViews", "phoneticPr"),
    *("printOptions", "pageMargins", "pageSetup", "headerFooter", "rowBreaks", "colBreaks", "cellWatches"),
    *("ignoredErrors", "extLst"),
)
WIDTH_STEP = 0.2  # programs write the same width with other digits


def own_elements(frame: Element, ours: Element) -> list[Element]:
    """Copies of what a sheet's frame has and our own sheet before it had not, in the sheet's order.

    An element that holds several entries comes with the person's entries alone.
    """
    found = []
    before = {kind: {_entry(entry) for entry in _entries(ours, kind)} for kind in LISTS.values()}
    single = {local(element): _plain(element) for element in ours if local(element) in SINGLE}
    for element in frame:
        kind = LISTS.get(local(element))
        if kind is not None:
            copy = deepcopy(element)
            for entry in list(copy):
                if local(entry) != kind or _entry(entry) in before[kind]:
                    copy.remove(entry)
            if len(copy):
                found.append(copy)
        elif local(element) in SINGLE and _plain(element) != single.get(local(element)):
            found.append(deepcopy(element))
    return found


def put_own(rows: SheetRows, elements: list[Element]) -> None:
    """Put a person's elements into the sheet that takes the place of theirs."""
    for element in elements:
        name = local(element)
        there = rows.child(name)
        if there is None:
            rows.place_in_order(element)
        elif name == "conditionalFormatting":
            weakest = max((int(rule.get("priority", "0")) for rule in rows.frame().iter("{*}cfRule")), default=0)
            for number, rule in enumerate(element, start=weakest + 1):
                rule.set("priority", str(number))
            rows.place_in_order(element)
        elif name in LISTS:
            rows.frame(change=True)
            there.extend(list(element))
        else:
            rows.frame(change=True)
            there.getparent().replace(there, element)
        _count(rows.child(name))


def own_widths(frame: Element, ours: Element) -> dict[int, tuple[float, bool]]:
    """Columns that a person made wider, narrower or hid: number -> width, hidden."""
    was = dict(_widths(ours))
    return {
        column: (width, hidden)
        for column, (width, hidden) in _widths(frame)
        if column in was and (abs(was[column][0] - width) > WIDTH_STEP or was[column][1] != hidden)
    }


def _widths(frame: Element) -> Iterator[tuple[int, tuple[float, bool]]]:
    most = 200  # our sheets are narrower
    for entry in frame.iter("{*}col"):
        look = (float(entry.get("width", "9")), entry.get("hidden") in ("1", "true"))
        for column in range(int(entry.get("min", "1")), min(int(entry.get("max", "1")), most) + 1):
            yield column, look


def _entries(frame: Element, kind: str) -> Iterator[Element]:
    yield from frame.iter(f"{{*}}{kind}")


def _entry(entry: Element) -> str:
    """What tells one entry from another, however a program has written it down again."""
    if local(entry) == "cfRule":
        return "".join("".join(str(part.text or "") for part in entry.iter("{*}formula")).split()).upper()
    title = entry.get("promptTitle") or entry.get("errorTitle")
    return str(title) if title else _plain(entry)


def _plain(element: Element) -> str:
    copy = deepcopy(element)
    copy.tail = None
    for name in [name for name in copy.attrib if "}" in str(name)]:  # printer settings, ids of a program's own
        del copy.attrib[name]
    return str(etree.tostring(copy, method="c14n", exclusive=True).decode())


def _count(group: Element | None) -> None:
    if group is not None and group.get("count") is not None:
        group.set("count", str(sum(isinstance(child.tag, str) for child in group)))
