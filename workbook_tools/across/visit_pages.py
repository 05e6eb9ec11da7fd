"""Pages to take along to a visit: the plan, labels for the packets, an examination sheet, a laboratory sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from workbook_tools.across.planning import Packet, PlannedBath, VisitPlan, takes_in_words
from workbook_tools.functions.quantities.amounts import amount, short
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.model import Column
from workbook_tools.layout.model import Table as LayoutTable
from workbook_tools.log.checking.log_check import CheckedLog
from workbook_tools.log.gate import Despite, passed
from workbook_tools.xlsx.printing.blocks import (
    Block,
    Cards,
    Caution,
    CutCard,
    Drawing,
    Facts,
    Heading,
    Lines,
    Page,
    PageBreak,
    Paragraph,
    PrintedTable,
    Ticks,
    Together,
    Value,
    counted,
    figure,
)
from workbook_tools.xlsx.printing.pages import one_page_scale
from workbook_tools.xlsx.writing.fish_drawing import fish_drawing

# group of a column on the examination sheet; one that is not named here goes with the column before it
GROUPS = {
    "fish": "Fish",
    "other_species": "Fish",
    "into": "Times",
    "count": "Opercular count",
    "skin": "Body regions",
    "gill_colour": "Gills",
    "belly": "Body regions",
    "outcome": "Outcome",
}
NOT_ON_PAPER = ("picture",)  # names of files are typed at the desk
PAGE_CHARACTERS = 205  # of the layout's widths beside each other on a landscape page
WRITING = 22.0  # height of a row to write in by hand [pt]
CHOICES_SHOWN = 10
SAMPLE_ROWS = 8
READABLE = 0.85  # letters of 10 pt stay above 8 pt
LOOKS = 5  # rows for looks at the fish, for each bath
CAPTIONS = {
    "left": "Left side",
    "right": "Right side",
    "above": "From above",
    "left_gills": "Left gills, outermost arch 1",
    "right_gills": "Right gills",
    "about": "Outline of a fish to mark findings on: left side, right side, from above, gill arches",
}


def cleared(
    plan: VisitPlan, log: CheckedLog | Computed, overrides: Sequence[Despite] = (), path: object = "the log"
) -> VisitPlan:
    """The plan once the rows that only its pages show, samples and groups of fish, have passed the gate too.

    Raises FaultError where one of them has an open fault.
    """
    computed = log.computed if isinstance(log, CheckedLog) else log
    drawn = [("samples", place) for place, row in enumerate(computed.data["samples"]) if _waits(row, plan)]
    drawn += [("stocks", place) for place, row in enumerate(computed.data["stocks"]) if _is(row["site"], plan.site)]
    given = (str(one) for one in passed(log, drawn, "sheet to fill", overrides, path))
    return replace(plan, despite=tuple(dict.fromkeys((*plan.despite, *given))))


def visit_pages(
    plan: VisitPlan,
    log: CheckedLog | Computed,
    paper: str = "A4",
    fish: int | None = None,
    overrides: Sequence[Despite] = (),
) -> list[Page]:
    """The pages of a visit plan.

    Parameters
    ----------
    plan : from `insight.planning.visit_plan`.
    log : the log that it was made from.
    paper : "A4" or "Letter".
    fish : rows on the examination sheet for each bath; left out: 5, and 8 for a single bath.
    overrides : open faults that are known; they are said on the pages.

    Returns
    -------
    Plan, Labels (where there is something to weigh), Examination, Laboratory; for `workbook.pages.build_pages`.

    Raises
    ------
    FaultError : a sample or a group of fish that the pages show has an open fault.
    """
    computed = log.computed if isinstance(log, CheckedLog) else log
    plan = cleared(plan, log, overrides)
    pages = [fitted(Page("Visit plan", plan_blocks(plan), paper, name="Plan"))]
    if plan.packets:
        pages.append(Page("Labels", label_blocks(plan), paper, one_page=False))
    blocks = examination_blocks(plan, computed, fish)
    pages.append(Page("Examination", blocks, paper, "landscape", one_page=False))
    pages.append(fitted(Page("Laboratory submission", laboratory_blocks(plan, computed), paper, name="Laboratory")))
    return pages


def fitted(page: Page) -> Page:
    """One page where it stays easy to read, else as many as it takes."""
    return page if one_page_scale(page) >= READABLE else replace(page, one_page=False)


def _where(plan: VisitPlan) -> list[tuple[str, Value]]:
    site = " ".join(part for part in (plan.site, plan.site_name) if part)
    return [("Visit", plan.visit), ("Date", plan.date), ("Site", site), ("Purpose", plan.purpose or "-")]


# -------------------------------------------------------------------------------------------------------- plan


def plan_blocks(plan: VisitPlan) -> list[Block]:
    """What to weigh, what the store holds, what is due, what to take along."""
    blocks: list[Block] = [Facts(_where(plan)), *_despite(plan), *(Paragraph(note, "strong") for note in plan.notes)]
    for bath in plan.baths:
        blocks.append(Together(bath_blocks(bath)))
    if plan.totals:
        blocks += [
            Heading("In all"),
            PrintedTable(
                ("Product", "Planned g", "Spare g", "In all g", "Take from the store"),
                [
                    (t.substance, figure(t.planned), figure(t.spare), figure(t.whole), takes_in_words(t))
                    for t in plan.totals
                ],
                (24, 10, 10, 10, 34),
                (1, 2, 3),
            ),
        ]
    blocks += [Paragraph(words, "strong") for words in plan.store_words]
    blocks.append(Heading("Promised, and due by this visit"))
    if plan.follow_ups:
        blocks.append(Ticks([f"{one.due}: {one.what}" for one in plan.follow_ups]))
    else:
        blocks.append(Paragraph("Nothing open."))
    blocks += [Together((Heading("To take along"), Ticks(plan.checklist, 2))), Heading("Cautions")]
    return [*blocks, Caution(" ".join(plan.cautions))]


def _despite(plan: VisitPlan) -> list[Block]:
    """What the plan was given despite, for every sheet of it."""
    return [Caution(" ".join(plan.despite))] if plan.despite else []


def bath_blocks(bath: PlannedBath) -> list[Block]:
    """One bath: its facts, and a row for each step with what to weigh."""
    dose = "-" if bath.dose is None else short(bath.dose, "mg/L")
    facts: list[tuple[str, Value]] = [
        ("Vessel", bath.vessel or "-"),
        ("Water dosed", short(bath.litres, "L")),
        ("Agent", bath.agent or "-"),
        ("Start dose", dose),
        ("Step", short(bath.step, "mg/L")),
        ("Limit", short(bath.limit, "mg/L")),
    ]
    if bath.active is not None:
        facts.append(("Active share", short(bath.active)))
    head = ", ".join(part for part in (bath.species, bath.use) if part)
    blocks: list[Block] = [
        Heading(f"Bath {bath.bath}: {head}" if head else f"Bath {bath.bath}"),
        Facts(facts),
        Paragraph(f"Start dose: {bath.dose_words}.", "text" if bath.dose_from == "typed" else "strong"),
    ]
    if bath.packets:
        headings = ("Packet", "Drug g", "Buffer g", "What it does", "Weighed on", "By")
        blocks.append(PrintedTable(headings, step_rows(bath.packets), (16, 11, 11, 36, 16, 10), (1, 2), least=20))
    return [*blocks, *(Paragraph(note, "strong") for note in bath.notes)]


def step_rows(packets: Sequence[Packet]) -> list[tuple[Value, ...]]:
    """A row for each step: name, drug, buffer, what it does, and room for the date and a name."""
    drugs = [packet for packet in packets if packet.kind == "drug"]
    buffers = {packet.name: packet.mass for packet in packets if packet.kind == "buffer"}
    return [(drug.name, figure(drug.mass), figure(buffers.get(drug.name)), drug.effect, None, None) for drug in drugs]


# ------------------------------------------------------------------------------------------------------ labels


def label_blocks(plan: VisitPlan) -> list[Block]:
    """A label for each packet, three beside each other, to cut along the dashes."""
    words = f"Visit {plan.visit}, {plan.date}. Cut along the dashes. One label, one packet, one substance."
    return [Paragraph(words, "small"), Cards([label(packet, plan.despite) for packet in plan.packets])]


def label(packet: Packet, despite: Sequence[str] = ()) -> CutCard:
    """What stands on a packet."""
    return CutCard(
        (
            (f"{packet.bath}   {packet.name}: {packet.kind}", "title"),
            (packet.substance, "strong"),
            (amount(packet.mass, "g"), "mass"),
            (f"{packet.vessel}, {short(packet.litres, 'L')}", "text"),
            (packet.effect, "text"),
            ("Weighed on ______________", "text"),
            ("Check the label in force.", "small"),
            *((sentence, "small") for sentence in despite),
        )
    )


# ------------------------------------------------------------------------------------------------- examination


def examination_blocks(plan: VisitPlan, computed: Computed, fish: int | None = None) -> list[Block]:
    """Tables with the columns of the Fish and Watch sheets, and a drawing to mark findings on."""
    tables = computed.layout.tables
    count = fish or (5 if len(plan.baths) > 1 else 8)
    known = [{"bath": bath.bath, "species": bath.species} for bath in plan.baths] or [{}]
    facts = [*_where(plan)[:3], ("Examined by", None)]
    blocks: list[Block] = [Facts(facts, 4, line=True), *_despite(plan), Caution(" ".join(plan.cautions[1:3]))]
    rows = [one for one in known for _ in range(count)]
    watch = [("", column) for column in paper_columns(tables["watch"])]
    looks = [one for one in known for _ in range(LOOKS)]
    looking: list[Block] = [
        Heading("Looks at the fish in the bath"),
        _to_fill(watch, looks, grouped=False),
        *_choices([column for _, column in watch], computed),
    ]
    for number, part in enumerate(parts(tables["fish"])):
        names = list(dict.fromkeys(group for group, _ in part))
        title = ", ".join(name for name in names if name != GROUPS["fish"] or not number)
        blocks += [PageBreak()] if number == 1 else []
        blocks += [Heading(title.capitalize()), _to_fill(part, rows)]
        blocks += _choices([column for _, column in part], computed)
    drawing: list[Block] = [
        PageBreak(),
        Heading("Findings on the body"),
        Paragraph("Mark what you see and write the fish's name beside it.", "small"),
        Drawing(fish_drawing(CAPTIONS)),
        Lines(4, "Fish and finding"),
    ]
    return [*blocks, *looking, *drawing]


def paper_columns(table: LayoutTable) -> list[Column]:
    """Columns to write in on paper: typed, and not the veterinarian's own."""
    return [column for column in table.typed if not column.private and column.key not in NOT_ON_PAPER]


def parts(table: LayoutTable) -> list[list[tuple[str, Column]]]:
    """Columns with their groups, in as many tables as fit a page's width; each begins with the fish's name."""
    groups: dict[str, list[Column]] = {}
    name = GROUPS["fish"]
    for column in paper_columns(table):
        name = GROUPS.get(column.key, name)
        groups.setdefault(name, []).append(column)
    key = table.key_column
    found: list[list[tuple[str, Column]]] = [[]]
    for name, columns in groups.items():
        added = [(name, column) for column in columns]
        width = sum(column.width for _, column in [*found[-1], *added])
        if found[-1] and width > PAGE_CHARACTERS:
            found.append([(GROUPS["fish"], key)])
        found[-1] += added
    return found


def _to_fill(part: Sequence[tuple[str, Column]], rows: Sequence[dict[str, str]], grouped: bool = True) -> PrintedTable:
    """An empty table with what is known beforehand: the bath and its species."""
    groups: list[tuple[str, int]] = []
    for name, _ in part if grouped else ():
        if groups and groups[-1][0] == name:
            groups[-1] = (name, groups[-1][1] + 1)
        else:
            groups.append((name, 1))
    body = [tuple(known.get(column.key) for _, column in part) for known in rows]
    headings = [column.heading for _, column in part]
    return PrintedTable(headings, body, [column.width for _, column in part], groups=groups, least=WRITING)


def _choices(columns: Sequence[Column], computed: Computed) -> list[Block]:
    """What the lists of some columns offer, in small print."""
    said = []
    for column in columns:
        if column.kind != "list" or column.key == "species":
            continue
        source = computed.layout.tables[column.to]
        words = [str(row[source.columns[0].key]) for row in computed.data[column.to] if row[source.columns[0].key]]
        if 0 < len(words) <= CHOICES_SHOWN:
            said.append(f"{column.heading}: {', '.join(words)}.")
    return [Paragraph("  ".join(said), "small")] if said else []


# -------------------------------------------------------------------------------------------------- laboratory


def laboratory_blocks(plan: VisitPlan, computed: Computed) -> list[Block]:
    """A sheet that goes with samples to a laboratory: what is typed already, and room for the rest."""
    columns = computed.layout.tables["samples"].by_key
    waiting = [row for row in computed.data["samples"] if _waits(row, plan)]
    rows: list[tuple[Value, ...]] = [
        (id_text(row["sample"]), id_text(row["kind"]), id_text(row["site"]), id_text(row["stock"]), None,
         None, id_text(row["question"]))
        for row in waiting
    ]  # fmt: skip
    rows += [(None,) * 7] * max(0, SAMPLE_ROWS - len(rows))
    headings = (
        columns["sample"].heading,
        columns["kind"].heading,
        columns["site"].heading,
        columns["stock"].heading,
        "Preservative",
        "Number",
        columns["question"].heading,
    )
    laboratory = next((id_text(row["laboratory"]) for row in waiting if row["laboratory"]), None)
    blocks: list[Block] = [
        Facts([*_where(plan)[:3], ("Sent on", None), ("Laboratory", laboratory), ("Their number", None)], 2, line=True),
        *_despite(plan),
        Heading("Samples"),
        PrintedTable(headings, rows, (11, 16, 16, 11, 15, 9, 28), least=26),
        Paragraph(
            "Preservative: formalin, ethanol, cooled, frozen, transport medium or none; write strength.", "small"
        ),
        *_stocks(plan, computed),
        Heading("History: losses, signs, water, treatment so far"),
        Lines(3),
        Heading("Sender"),
    ]
    blocks += [Lines(1, words) for words in ("Name and practice", "Address", "Telephone, answer to", "Date, signature")]
    return blocks


def _waits(row: Row, plan: VisitPlan) -> bool:
    """Whether a sample of the visit is without its answer."""
    return _is(row["visit"], plan.visit) and row["result"] is None and row["resulted"] is None


def _stocks(plan: VisitPlan, computed: Computed) -> list[Block]:
    """The groups of fish of the site."""
    rows: list[tuple[Value, ...]] = []
    for row in computed.data["stocks"]:
        if _is(row["site"], plan.site):
            number, grams = (counted(row[key]) if is_number(row[key]) else None for key in ("number", "mean_weight"))
            rows.append((id_text(row["stock"]), id_text(row["species"]), number, grams, id_text(row["vessel"])))
    columns = computed.layout.tables["stocks"].by_key
    headings = [columns[key].heading for key in ("stock", "species", "number", "mean_weight", "vessel")]
    return [Heading("Fish of the site"), PrintedTable(headings, rows, (12, 24, 16, 16, 16), (2, 3))] if rows else []


def _is(value: object, name: str) -> bool:
    return value is not None and id_key(value) == id_key(name)
