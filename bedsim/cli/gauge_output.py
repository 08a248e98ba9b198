"""What `bedsim gauge` prints and where it writes: wrapped sentences and the files of one measurement."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.text import wrapped
from bedsim.files import make_folder, write_file

if TYPE_CHECKING:
    from bedsim.cli.gauge_into import Into


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


def say(text: str) -> None:
    """Print a sentence, indented and wrapped."""
    click.echo("\n".join(wrapped(text, "  ", "    ")))
