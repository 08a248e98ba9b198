"""The cells of the notebook that is executed: a table, a figure and a bar."""

SET_UP = """import os
os.environ["MPLBACKEND"] = "Agg"
import bedsim
machine = bedsim.load_scenario("machine.toml")"""
TABLE = 'run = bedsim.simulate(machine, "equilibrium")\nrun'
FIGURE = "bedsim.plot(run)"
SWEEP = 'bedsim.sweep("plan.toml")'
CELLS = (SET_UP, TABLE, FIGURE, SWEEP)
