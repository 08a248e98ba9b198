"""What a report says: finished runs in, the sections of the page out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from pathlib import Path

import numpy as np

from bedsim.analysis.figures import METRICS, metric_text
from bedsim.analysis.objects import OBJECTS
from bedsim.analysis.printed import quantity, span
from bedsim.analysis.summary import (
    Summary,
    headline,
    summarise,
    told_range,
    told_shares,
)
from bedsim.number_text import number
from bedsim.quantities import PER_CORNER
from bedsim.ranges.kept import ranges_of
from bedsim.ranges.shares import shares_of
from bedsim.units import MM
from bedsim.views.report_controls import controls, layer_bar
from bedsim.views.report_data import page_data
from bedsim.views.report_figures import Choices, Reported, Seen
from bedsim.views.report_next import how_levers, next_lists
from bedsim.views.report_page import Page, PageSection, PageTable, table_html
from bedsim.views.report_run import Scales, common_scales, run_article
from bedsim.views.report_unrolled import unrolled_section
from bedsim.views.report_waves import told_walls, wavelength_figure
from bedsim.wall.bands import source_shares
from bedsim.wall.relief import probe_index
from bedsim.wall.surface import bead_profile
from bedsim.wall.visibility import assumptions, worst
from bedsim.wall.waviness import cutoff_for_layers, waviness
from bedsim.wall.worst import JudgedWall, PrintedWalls, printed_walls, wall_places

LEFT_OUT = (
    "The bed plate bends nowhere but in the twist of beds on four or more screws.",
    "The gantry and the nozzle stand still; the frame is a spring behind each guide and bearing.",
    "Lubrication, dirt and wear; friction has one law and no difference between standing and sliding.",
    "Thermal bow of the bed, and shrinkage of the part as it cools.",
    "Rotations are small: the linear machine departs from full rotations by about the tilt in radians.",
    "On the wall: the line spreads evenly to both sides, corners and seams, flow that varies, "
    "ringing of the X and Y axes.",
)

NO_RANGES = (
    "These are answers at the likely values: the result keeps no ranges. Run the scenario again without "
    "--no-ranges (see How to repeat this) for what its uncertain numbers leave open."
)


def report_page(items: Sequence[Reported], choices: Choices) -> Page:
    """The page for one or more runs, walls side by side in the order given.  Raises InputError for wall or
    probe.
    """
    summaries = [
        summarise(i.whole, i.loaded, shares_of(i.whole, i.whole_sources), ranges_of(i.whole), i.split)
        for i in items
    ]
    walls = _walls(items, choices)
    scales = common_scales(walls[0])
    unrolled = unrolled_section(items)
    sections = [
        _verdict(items, summaries, walls),
        _layers(items, walls[0], scales),
        *([unrolled] if unrolled is not None else []),
        _seen_and_next(items, summaries, walls, choices),
        _figures_table(items, summaries),
        _caution(summaries),
        *(_wall_section(row) for row in walls),
        _assumed(items, choices),
        PageSection(title="What the model leaves out", points=LEFT_OUT, folded=True),
        _repeat(items),
        _scenarios(items),
    ]
    versions = ", ".join(sorted({i.run.program_version for i in items}))
    return Page(
        title=" against ".join(dict.fromkeys(s.title for s in summaries)),
        subtitle=f"Predicted errors of a heated bed on its screws. {len(items)} run{'s' * (len(items) > 1)}.",
        sections=tuple(sections),
        footer=f"Written by bedsim {versions}. A prediction, not a measurement.",
        data=page_data(walls[0], scales, choices.viewing),
    )


def _walls(items: Sequence[Reported], choices: Choices) -> list[list[Seen]]:
    """Every wall that is asked for, of every run at the same place."""
    runs = [printed_walls(i.run.layers, i.loaded.scenario) for i in items]
    places = wall_places(runs, choices.walls, choices.probe, choices.viewing)
    return [
        [_seen(item, r.judged(place, choices.viewing), r) for item, r in zip(items, runs, strict=True)]
        for place in places
    ]


def _seen(item: Reported, judged: JudgedWall, run: PrintedWalls) -> Seen:
    wall = judged.wall
    profile = bead_profile(wall)
    return Seen(
        reported=item,
        judged=judged,
        wave=waviness(profile.height, profile.surface, cutoff_for_layers(float(wall.thickness.max()))),
        shares=source_shares(wall, item.sources, probe_index(run.layers, wall.probe), run.leads)
        if item.sources and wall.relief.any()  # a flat wall has nothing to share
        else (),
    )


# ---- words ------------------------------------------------------------------------------------------------


def _named(item: Reported, items: Sequence[Reported], text: str) -> str:
    return text if len(items) == 1 else f"{item.label}: {text}"


def _verdict(
    items: Sequence[Reported], summaries: Sequence[Summary], walls: Sequence[Sequence[Seen]]
) -> PageSection:
    told = [_named(i, items, headline(s)) for i, s in zip(items, summaries, strict=True)]
    points = [_named(s.reported, items, s.judged.sentence) for row in walls[1:] for s in row]
    points += [_named(i, items, t) for i, s in zip(items, summaries, strict=True) for t in s.targets]
    points += [_named(i, items, OBJECTS.format(i.shown)) for i in items if i.shown]
    points += [NO_RANGES] if any(i.loaded.ranges and i.run.open is None for i in items) else []
    tags = "".join(
        f'<div class="tags">{"".join(_tags(summary, seen, _named(seen.reported, items, "")))}</div>'
        for summary, seen in zip(summaries, walls[0], strict=True)
    )
    return PageSection(
        title="Verdict", paragraphs=tuple(told), points=tuple(points), drawn=tags, tone="verdict"
    )


def _tags(summary: Summary, seen: Seen, run: str) -> list[str]:
    """Sideways, height and bands, each as a large answer with what stands behind it."""
    found = []
    for title, name in (("sideways", "lateral_pv"), ("height", "height_pv")):
        metric = next(m for m in METRICS if m.name == name)
        likely = metric_text(metric, summary.values[name])
        behind = (
            f"likely {likely}, at {summary.where[name]}" if summary.ranges else f"at {summary.where[name]}"
        )
        found.append(_tag(f"{run}{title}, peak to valley", told_range(summary, name), behind))
    band = worst(seen.judged.sightings)
    if band is None:
        return [*found, _tag(f"{run}bands", "not told", "the print is too low for a band of the leads")]
    return [
        *found,
        _tag(
            f"{run}bands every {number(band.band.seen_wavelength / MM)} mm",
            band.verdict,
            f"{quantity(band.band.amplitude, 'm')} amplitude, {number(band.ratio, 2)} times the smallest "
            f"visible, on wall {seen.judged.place.words}",
        ),
    ]


def _tag(title: str, answer: str, behind: str) -> str:
    return f"<div><span>{escape(title)}</span><b>{escape(answer)}</b><span>{escape(behind)}</span></div>"


def _layers(items: Sequence[Reported], row: Sequence[Seen], scales: Scales) -> PageSection:
    """The charts of every run, under one set of controls and over one layer slider."""
    several = len(items) > 1
    articles = "".join(
        run_article(seen, scales, k, seen.reported.label if several else "") for k, seen in enumerate(row)
    )
    drawn = (
        f'<div class="live">{controls(row)}{told_walls(row, several)}'
        f'<div class="runs{" several" * several}">{articles}</div>{layer_bar()}</div>'
    )
    return PageSection(
        title="Layer by layer",
        paragraphs=(
            "Height runs upwards in every column, as the print grows. Strong line: this place; thin lines: "
            "the other places; tint: half range of what is not known, without friction (how: Assumptions).",
        ),
        drawn=drawn,
    )


def _seen_and_next(
    items: Sequence[Reported],
    summaries: Sequence[Summary],
    walls: Sequence[Sequence[Seen]],
    choices: Choices,
) -> PageSection:
    charts = "".join(
        wavelength_figure(seen, k, choices.viewing, len(items) > 1) for k, seen in enumerate(walls[0])
    )
    lists = "".join(
        next_lists(_named(i, items, ""), s.ranges, i.levers, f"next-{k}")
        for k, (i, s) in enumerate(zip(items, summaries, strict=True))
    )
    travel = tuple(_named(i, items, i.travel) for i in items if i.travel)
    return PageSection(
        title="Would you see it? What next?",
        paragraphs=travel,
        drawn=f'<div class="two">{charts}{lists}</div>',
    )


def _caution(summaries: Sequence[Summary]) -> PageSection:
    lines = [*(w for s in summaries for w in s.warnings), *(c for s in summaries for c in s.cautions)]
    lines = [t.removeprefix("Caution: ") for t in dict.fromkeys(lines)]
    return PageSection(title="Cautions", points=tuple(t[:1].upper() + t[1:] for t in lines), tone="caution")


def _figures_table(items: Sequence[Reported], summaries: Sequence[Summary]) -> PageSection:
    rows = tuple(
        (m.text[:1].upper() + m.text[1:], *(told_range(s, m.name) for s in summaries)) for m in METRICS
    )
    head = ("Figure", *(i.label for i in items)) if len(items) > 1 else ("Figure", "Value")
    worst = PageTable(caption="Worst over all probes and layers.", head=head, rows=rows)
    beside = [t for i, s in zip(items, summaries, strict=True) for t in _tables_of(_named(i, items, ""), s)]
    told = "".join(table_html(t, f"figures-{k}") for k, t in enumerate(beside))
    return PageSection(
        title="Figures", drawn=f'<div class="two">{table_html(worst, "figures-worst")}<div>{told}</div></div>'
    )


def _tables_of(name: str, summary: Summary) -> Iterator[PageTable]:
    """What corners and causes of one run do."""
    yield PageTable(
        caption=f"{name}Largest per corner over the print.",
        head=("Corner", "Lead", *(q.columns[1] for q in PER_CORNER)),
        rows=tuple(
            (
                c.name,
                f"{c.lead / MM:g} mm",
                *(metric_text(q, c.worst[q.name]).replace("less than ", "< ") for q in PER_CORNER),
            )
            for c in summary.corners
        ),
    )
    shares = told_shares(summary.shares, 6)
    if shares:
        yield PageTable(
            caption=f"{name}What each cause makes alone, peak to valley.",
            head=("Cause", "Sideways", "Height"),
            rows=tuple(tuple(t.replace("less than ", "< ") for t in row) for row in shares),
        )


def _band_table(row: Sequence[Seen], several: bool) -> PageTable:
    rows = []
    for seen in row:
        for s in seen.judged.sightings:
            name = f"{seen.reported.label}: {s.band.label}" if several else s.band.label
            length = (
                "level" if np.isinf(s.band.seen_wavelength) else f"{number(s.band.seen_wavelength / MM)} mm"
            )
            if np.isnan(s.ratio):
                rows.append((name, length, "not resolved", "–", "–", "–"))
                continue
            limit, ratio = span(*s.visible_between, "m"), number(s.ratio, 2)
            rows.append((name, length, quantity(s.band.amplitude, "m"), limit, ratio, s.verdict))
    return PageTable(
        caption="Bands at the leads and their parts, as the layers show them.",
        head=("Band", "Length on the wall", "Amplitude", "Smallest visible", "Ratio", "Verdict"),
        rows=tuple(rows),
    )


def _wall_section(row: Sequence[Seen]) -> PageSection:
    told = [_share_table(s) for s in row if s.shares]
    return PageSection(
        title=f"Wall {row[0].wall.name.replace(' deg', '°')}: bands, waviness, shares",
        tables=(_band_table(row, len(row) > 1), _waviness_table(row), *told),
        folded=True,
    )


def _waviness_table(row: Sequence[Seen]) -> PageTable:
    wave = row[0].wave
    return PageTable(
        caption=f"Waviness above a cut-off of {wave.cutoff / MM:g} mm (Gaussian filter of ISO 16610-21).",
        head=("Run", "Wa", "Wq", "Wt"),
        rows=tuple(
            (
                s.reported.label,
                quantity(s.wave.wa, "m"),
                quantity(s.wave.wq, "m"),
                quantity(s.wave.wt, "m"),
            )
            for s in row
        ),
    )


def _share_table(seen: Seen) -> PageTable:
    caption = (
        f"{seen.reported.label}: who makes the relief. Shares sum to 100 %; a source that works against the "
        "whole counts negative, and what it takes off another has on top."
    )
    return PageTable(
        caption=caption,
        head=("Cause", "Corner", "Share"),
        rows=tuple((s.source[0], s.source[1], f"{round(100 * s.variance_share):d} %") for s in seen.shares),
    )


def _assumed(items: Sequence[Reported], choices: Choices) -> PageSection:
    notes = [n for i in items for n in i.run.notes]
    methods = [_named(i, items, i.run.open.method) for i in items if i.run.open is not None]
    guessed = {
        _named(
            i,
            items,
            f"{len(i.loaded.defaulted)} values are defaults by kind of part, {len(i.loaded.ranges)} "
            "are ranges.",
        )
        for i in items
    }
    wall = (
        "The wall is taken at one probe of the bed. Its relief is the sideways shift of the deposit "
        "plus half the change "
        "of line width, which at constant flow follows the layer's thickness.",
        "The drawn wall is lit for gentle slopes, without layer lines.",
    )
    return PageSection(
        title="Assumptions",
        points=(
            *assumptions(choices.viewing),
            *wall,
            *sorted(guessed),
            *methods,
            *how_levers(items),
            *dict.fromkeys(notes),
        ),
        folded=True,
    )


def _repeat(items: Sequence[Reported]) -> PageSection:
    rows = tuple(
        (
            i.label,
            i.path,
            i.run.engine,
            i.run.created,
            i.run.program_version,
            str(i.run.seed),
        )
        for i in items
    )
    table = PageTable(
        caption="Where the numbers come from.",
        head=("Run", "Result file", "Engine", "Computed (UTC)", "bedsim", "Seed"),
        rows=rows,
    )
    commands = "\n".join(
        f"bedsim run scenario.toml --engine {i.run.engine} --output {Path(i.path).name}" for i in items
    )
    return PageSection(
        title="How to repeat this",
        paragraphs=(
            "Save the scenario below as scenario.toml, with any tables it names beside it, and run:",
        ),
        tables=(table,),
        folded=True,
        verbatim=(("Commands", f"{commands}\nbedsim report {' '.join(Path(i.path).name for i in items)}"),),
    )


def _scenarios(items: Sequence[Reported]) -> PageSection:
    return PageSection(
        title="Resolved scenario" + "s" * (len(items) > 1),
        paragraphs=("Every key with its value; defaults are marked.",),
        folded=True,
        verbatim=tuple((i.label, i.run.scenario_resolved) for i in items),
    )
