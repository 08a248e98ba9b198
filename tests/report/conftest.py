"""Results and a report on disk, made once for all tests of this folder."""

import pytest
from made_up_report import made_up_run

from bedsim.cli.main import main
from bedsim.results.store import write_run


@pytest.fixture(scope="session")
def result_files(tmp_path_factory):
    """Two results: rigid.h5 with tall bands, rolling.h5 with low ones."""
    folder = tmp_path_factory.mktemp("results")
    files = []
    for name, amplitude in (("rigid", 14e-6), ("rolling", 2e-6)):
        write_run(made_up_run(amplitude), folder / f"{name}.h5")
        files.append(folder / f"{name}.h5")
    return files


@pytest.fixture(scope="session")
def page_file(result_files):
    """The report of both, written by the command."""
    target = result_files[0].parent / "report.html"
    assert main(["report", *map(str, result_files), "--no-levers", "--output", str(target)]) == 0
    return target
