"""Files that an older version wrote still open, with what was in them (`older/make.py` made them)."""

import gzip
import json
from pathlib import Path

import pytest

import bedsim

OLDER = Path(__file__).parent / "older"
HELD = json.loads((OLDER / "held.json").read_text("utf-8"))


@pytest.mark.parametrize("name", HELD)
def test_an_older_file_opens_with_what_was_in_it(name, tmp_path):
    path = tmp_path / f"{name}.h5"
    path.write_bytes(gzip.decompress((OLDER / f"{name}.h5.gz").read_bytes()))
    opened = bedsim.open(path)
    if name.startswith("sweep"):
        found = [float(c.figures[:, 0].sum()) for c in bedsim.open_sweep(path).cells]
        assert set(opened.dims) >= {"printer", "quantile", "metric", "layer"}
        first = opened[str(opened.metric.values[0])]
        assert sorted(first.sum("printer").values.ravel()) == pytest.approx(sorted(found), rel=1e-14)
    else:
        layers = bedsim.open_result(path).layers
        found = [float(layers.height_error.sum()), float(layers.lateral_error[-1, 0, 0])]
        assert float(opened.lateral_error[-1, 0, 0]) == found[1]
    assert found == HELD[name]
