"""What `bedsim gauge` prints and where it writes: wrapped sentences and the files of one measurement."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.files import make_folder, write_file

if TYPE_CHECKING:
    from bedsim.cli.gauge_into import Into

LINE_WIDTH = 100


class Target:
    """Where the files of one measurement go."""

    def __init__(
        self,
        folder: Path,
        stem: str,
        own_corner: bool,
        pictures: bool,
        into: Into | None = None,
        beside: Path | None = None,
    ) -> None:
        self.folder, self.stem, self.own_corner, self.pictures = folder, stem, own_corner, pictures
        self.into, self.beside = into, beside

    def path(self, ending: str) -> Path:
        """Name a file and make its folder."""
        return make_folder(self.folder) / f"{self.stem}_{ending}"

    def write(self, ending: str, text: str) -> Path:
        """Write a text file and give its path."""
        path = self.path(ending)
        write_file(path, text)
        return path


def say(*texts: str) -> None:
    """Print sentences, each indented and wrapped."""
    for text in texts:
        click.echo("\n".join(lines_of(text)))


def lines_of(text: str) -> list[str]:
    """A sentence, indented and wrapped."""
    return textwrap.wrap(
        text, LINE_WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
