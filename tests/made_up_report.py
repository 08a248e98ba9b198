"""A made-up run whose scenario loads again."""

import dataclasses

import synthetic

from bedsim.scenario.toml_text import resolved_text

EVIL = 'Bed <script>alert("x")</script> & "co" \' µm'


def made_up_run(amplitude: float, title: str = EVIL, layers: int = 200, lead: float = 5.0):
    """A run with bands of an amplitude (m); its title wants to be escaped."""
    machine = synthetic.scenario(layers=layers, lead_mm=lead).model_copy(update={"title": title})
    run = synthetic.run(machine, amplitude=amplitude)
    text = resolved_text(machine, (), {}, {"corner": [{"name": c.name} for c in machine.corner]})
    return dataclasses.replace(run, scenario_resolved=text, scenario_source=text)
