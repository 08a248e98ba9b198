"""What a report says: finished runs in, the sections of the page out."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bedsim.analysis.figures import METRICS, metric_text
from bedsim.analysis.printed import quantity, span
from bedsim.analysis.summary import Summary, headline, summarise, summary_lines
from bedsim.number_text import number
from bedsim.quantities import PER_CORNER
from bedsim.units import MM
from bedsim.views.report_figures import (
    Choices,
    Reported,
    Seen,
    run_pictures,
    visibility_picture,
    wall_pictures,
)
from bedsim.views.report_page import Page, PageSection, PageTable
from bedsim.wall.bands import source_shares
from bedsim.wall.relief import probe_index
from bedsim.wall.surface import bead_profile, common_gain
from bedsim.wall.visibility import assumptions
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
    "These are the answers at the likely values: a result file keeps no ranges; run the scenario again "
    "(see How to repeat this; without --no-ranges), and bedsim run prints what its uncertain numbers leave "
    "open and which to measure next."
)


def report_page(items: Sequence[Reported], choices: Choices) -> Page:
    """The page for one or more runs, walls side by side in the order given.  Raises InputError for wall or
    probe.
    """
    summaries = [summarise(i.run, i.loaded, split=i.split) for i in items]
    walls = _walls(items, choices)
    with tempfile.TemporaryDirectory(prefix="bedsim-report-") as folder:
        place = Path(folder)
        gain = common_gain([s.wall for row in walls for s in row], choices.viewing.incidence)
        sections = [
            _verdict(items, summaries, walls),
            _caution(summaries),
            *(_wall_section(row, choices, gain, place / f"wall_{i}") for i, row in enumerate(walls)),
            PageSection(
                title="Would you see it?",
                paragraphs=assumptions(choices.viewing)[:3],
                pictures=(visibility_picture(walls[0], choices, place),),
            ),
            _figures_table(items, summaries),
            *(
                _charts(i, s, place / f"run_{k}")
                for k, (i, s) in enumerate(zip(items, summaries, strict=True))
            ),
            _assumed(items, choices),
            PageSection(title="What the model leaves out", points=LEFT_OUT),
            _repeat(items),
            _scenarios(items),
        ]
    names = " against ".join(dict.fromkeys(s.title for s in summaries))
    versions = ", ".join(sorted({i.run.program_version for i in items}))
    return Page(
        title=names,
        subtitle=f"Predicted errors of a heated bed on its screws. {len(items)} run{'s' * (len(items) > 1)}.",
        sections=tuple(sections),
        footer=f"Written by bedsim {versions}. A prediction, not a measurement.",
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
    seen = [_named(s.reported, items, s.judged.sentence) for row in walls for s in row]
    seen += [_named(i, items, i.travel) for i in items if i.travel]
    targets = [_named(i, items, t) for i, s in zip(items, summaries, strict=True) for t in s.targets]
    ranged = [NO_RANGES] if any(i.loaded.ranges for i in items) else []
    return PageSection(title="Verdict", paragraphs=(*told, *ranged), points=(*seen, *targets), tone="verdict")


def _caution(summaries: Sequence[Summary]) -> PageSection:
    lines = [*(w for s in summaries for w in s.warnings), *(c for s in summaries for c in s.cautions)]
    lines = [t.removeprefix("Caution: ") for t in dict.fromkeys(lines)]
    return PageSection(title="Cautions", points=tuple(t[:1].upper() + t[1:] for t in lines), tone="caution")


def _figures_table(items: Sequence[Reported], summaries: Sequence[Summary]) -> PageSection:
    rows = tuple(
        (m.text[:1].upper() + m.text[1:], *(metric_text(m, s.values[m.name]) for s in summaries))
        for m in METRICS
    )
    head = ("Figure", *(i.label for i in items)) if len(items) > 1 else ("Figure", "Value")
    corners = tuple(
        PageTable(
            caption=_named(i, items, "Largest per corner over the print."),
            head=("Corner", "Lead", *(q.columns[1] for q in PER_CORNER)),
            rows=tuple(
                (
                    c.name,
                    f"{c.lead / MM:g} mm",
                    *(metric_text(q, c.worst[q.name]) for q in PER_CORNER),
                )
                for c in s.corners
            ),
        )
        for i, s in zip(items, summaries, strict=True)
    )
    return PageSection(
        title="Figures",
        tables=(PageTable(caption="Worst over all probes and layers.", head=head, rows=rows), *corners),
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


def _wall_section(row: Sequence[Seen], choices: Choices, gain: float, stem: Path) -> PageSection:
    told = [_share_table(s) for s in row if s.shares]
    return PageSection(
        title=f"Wall {row[0].judged.place.words}",
        tables=(_band_table(row, len(row) > 1), _waviness_table(row), *told),
        pictures=wall_pictures(row, choices, gain, stem),
    )


def _charts(item: Reported, summary: Summary, place: Path) -> PageSection:
    return PageSection(
        title=f"Charts: {item.label}",
        pictures=run_pictures(item, place),
        verbatim=(("Summary", "\n".join(summary_lines(summary))),),
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
        "Layer lines are drawn as half ellipses, 0.3 times as deep as half-round beads: our "
        "assumption, for the eye only.",
    )
    return PageSection(
        title="Assumptions",
        points=(*assumptions(choices.viewing), *wall, *sorted(guessed), *dict.fromkeys(notes)),
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
        verbatim=(("Commands", f"{commands}\nbedsim report {' '.join(Path(i.path).name for i in items)}"),),
    )


def _scenarios(items: Sequence[Reported]) -> PageSection:
    return PageSection(
        title="Resolved scenario" + "s" * (len(items) > 1),
        paragraphs=("Every key with its value; defaults are marked.",),
        verbatim=tuple((i.label, i.run.scenario_resolved) for i in items),
    )
