"""What machines that agree with readings differ by, layer by layer: by hand, and of normal draws."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
import synthetic

from bedsim.ranges import known
from bedsim.ranges.known import known_machines
from bedsim.wall.relief import relief_spread, wall_of_layers

MACHINE = synthetic.scenario(layers=12)


def machines_about(monkeypatch, likeliest, others):
    monkeypatch.setattr(known, "_drawn_layers", lambda *_: iter([likeliest, *others]))
    monkeypatch.setattr(known, "leads_of", lambda _: [5e-3] * 3)
    return known_machines(SimpleNamespace(knowledge=SimpleNamespace(machines=others)))


def test_two_machines_by_hand(monkeypatch):
    """1 um up and 2 um down: 1.645 times the root of (1 + 4)/2 um2; one that cannot be built counts not."""
    base = synthetic.layer_result(MACHINE)
    others = [dataclasses.replace(base, height_error=base.height_error + a) for a in (1e-6, -2e-6)]
    found = machines_about(monkeypatch, base, [others[0], None, others[1]])
    assert len(found.values) == 3
    assert np.sqrt(found.spread[..., 6]) == pytest.approx(1.645e-6 * np.sqrt(2.5), rel=1e-9)
    assert found.spread[..., :6] == pytest.approx(0.0, abs=1e-30)


def test_half_range_of_a_wall_holds_nine_of_ten_normal_machines(monkeypatch):
    """X and Y that go together: the wall's own range, not that of its parts."""
    base, rng = synthetic.layer_result(MACHINE), np.random.default_rng(5)
    luck = rng.normal(size=(400, 1))
    both = 3e-6 * luck * (1.0, 1.0) + 1e-6 * rng.normal(size=(400, 2))
    others = [dataclasses.replace(base, lateral_error=base.lateral_error + d) for d in both]
    found = machines_about(monkeypatch, base, others)
    for facing in ("45", "135"):
        walls = [wall_of_layers(m, wall=facing, line_width=4e-4, probe="centre") for m in (base, *others)]
        half = relief_spread(found.spread[:, base.probe_name.index("centre")], walls[0])
        inside = [np.abs(w.relief - walls[0].relief) <= half for w in walls[1:]]
        assert np.mean(inside) == pytest.approx(0.90, abs=0.045)  # 3 sigma of 400 draws
