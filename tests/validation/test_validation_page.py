"""The page of checks holds every test it ran with what it compared; a check that fails shows as failed."""

import json
import re
import subprocess
import sys
from html import unescape
from pathlib import Path

import pytest
from study import read_study

HERE = Path(__file__).parent

INVENTED = '''"""Invented. Source: nobody."""
import numpy as np
import pytest

@pytest.mark.read("nobody, p. 1")
def test_right():
    """A right one."""
    assert 2.01 == pytest.approx(2.0, rel=0.01)

@pytest.mark.read("nobody, p. 2")
def test_stated(record_property):
    """A stated one."""
    record_property("u_input", 0.003)
    record_property("u_data", [[0.001, 0.004]])
    assert [1.0, 2.05] == pytest.approx([1.0, 2.0], rel=0.1)

def test_wrong():
    """A wrong one."""
    np.testing.assert_allclose([1.0, 5.0], [1.0, 4.0], rtol=0.1)

def test_bound():
    off = 0.25
    assert off < 0.5

def test_orders(record_property):
    record_property("convergence", {"engine": "e", "along": "step", "steps": (2, 1), "off_um": (4.0, 1.0)})
'''


STUDIED = {
    **{"kind": "rigid", "way": "gauge", "seed": 0, "gauged": False, "read": 18, "drawn": 19, "right": True},
    **{"lateral": 9, "height": 0, "shares": [9, 9, 9], "sd": 0.1, "off": 0.05, "claimed": 0.9, "false": []},
    **{"chance": 0.5, "seconds": 1.0},
}
"""A machine as tests/learn/by_hand.py writes it: sideways within, in height without."""


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("validation")
    (folder / "test_invented_checks.py").write_text(INVENTED)
    (folder / "test_broken_file.py").write_text("import nothing_of_this_name\n")
    target, study = folder / "page.html", folder / "study.json"
    study.write_text(json.dumps([STUDIED]))
    done = subprocess.run(
        [sys.executable, HERE, "--output", target, "--learn", study, "published/test_beam_chart.py", folder],
        capture_output=True,
        text=True,
        check=False,
    )
    assert target.exists(), done.stdout + done.stderr
    return done, unescape(target.read_text(encoding="utf-8"))


def test_what_fails_shows_as_failed(written):
    done, text = written
    assert done.returncode == 1
    assert "FAILED" in done.stdout and "test_wrong" in done.stdout
    failed = text.partition("Checks that failed")[2].partition("</table>")[0]
    assert "A wrong one." in failed and "test_broken_file" in failed
    assert "A right one." not in failed
    row = next(r for r in text.split("<tr") if "A wrong one." in r and "FAILED" in r)
    assert "<td>5</td><td>4</td><td>1</td>" in row


def test_every_comparison_has_source_error_and_uncertainty(written):
    text = written[1]
    row = next(r for r in text.split("<tr") if "A right one." in r)
    assert (
        "<td>read</td><td>nobody, p. 1</td><td>2.01</td><td>2</td><td>0.01</td><td>0</td><td>unknown</td>"
        in row
    )
    assert "<td>0.0115</td><td>0.0115</td><td>0.87</td>" in row
    assert "within 2 u_val of the known parts; unknown: u_input" in row
    assert text.count("published/test_beam_chart.py") >= 2
    assert "off < 0.5" in text and "0.25 < 0.5" in text


def test_orders_are_observed(written):
    assert "<td>e</td><td>orders</td><td>step</td><td>2, 1</td><td>4, 1</td><td>2.0</td>" in written[1]


def test_the_hole_stands_on_top(written):
    text = written[1]
    assert text.index("Not validated: the sideways tug of war") < text.index("<main>")


def test_what_a_test_states_makes_its_u_val(written):
    """0.003 and 0.004 of 2 are 0.006 and 0.008, together 0.01; 0.05 is five of them, though it passed."""
    row = next(r for r in written[1].split("<tr") if "A stated one." in r)
    assert "<td>0</td><td>0.006</td><td>0.008</td><td>0.01</td><td>5</td><td>beyond 2 u_val</td>" in row


def test_the_study_of_learn_is_told_with_how_few_machines_it_has(written):
    told = written[1].partition("Coverage of learn</h2>")[2]
    assert "1 machines of a kind at least: too few" in told
    assert "gauge unknown rigid" in told and "sideways 1.00, height 0.00, shares 1.00" in told


@pytest.mark.parametrize("text", ["no json", "{}", '[{"kind": "rigid"}]', None])
def test_what_is_no_study_is_refused_in_one_sentence(tmp_path, text):
    study = tmp_path / "study.json"
    if text is not None:
        study.write_text(text)
    with pytest.raises(ValueError, match=re.escape(f"--learn {study}")):
        read_study(study)
