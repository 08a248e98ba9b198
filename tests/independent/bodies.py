"""The machine as bodies and springs in the multibody library exudyn: absolute motion, finite rotations.

The bed is a free body; each corner is a chain of joints (carriage, then the nut that slides and turns in the
carriage's joint plane); each rotor turns about its own axis, and the screw's spring is fixed in the rotor, so
that a bent screw really goes round.  Balls are springs at their own places.  36 coordinates, no constraint.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter
from typing import Any

import exudyn as exu
import numpy as np
from energies import modal_damping
from exudyn.itemInterface import (
    CartesianSpringDamper,
    CoordinateSpringDamper,
    MarkerBodyRigid,
    MarkerKinematicTreeRigid,
    MarkerNodeCoordinate,
    Node1D,
    NodeGenericODE2,
    NodePointGround,
    ObjectGenericODE2,
    ObjectGround,
    ObjectKinematicTree,
    ObjectRotationalMass1D,
    RigidBodySpringDamper,
    SensorNode,
)
from exudyn.rigidBodyUtilities import RigidBodyInertia
from numpy.typing import NDArray
from oracle_machine import GRAVITY, Corner, Numbers, commanded

Array = NDArray[np.float64]

CARRIAGE, NUT, TREE = 5, 8, 9  # links of a corner's chain, and their number
BED = 6
MOTORS = tuple(BED + (TREE + 1) * k + TREE for k in range(3))


@dataclass(frozen=True, kw_only=True)
class Model:
    """An assembled system. `damper`: the object that carries modal damping, against the commanded motion."""

    mbs: Any
    container: Any  # keeps the system alive
    command: Array  # (36,) all coordinates per metre of height
    motors: tuple[int, int, int]
    damping: Array | None
    damper: int | None
    bed: int  # node


def build(n: Numbers, *, gravity: float = GRAVITY, damping: Array | None = None) -> Model:
    """Assemble the machine; `damping` (36, 36) acts on the motion against the commanded one.

    Raises ValueError for a belt, nuts with play, or a plate on more than three screws.
    """
    if n.belt or len(n.corners) != 3 or any(c.play for c in n.corners):
        raise ValueError("content that the bodies do not carry")
    container = exu.SystemContainer()
    mbs = container.AddSystem()
    ground = mbs.AddObject(ObjectGround())
    fixed = mbs.AddMarker(MarkerNodeCoordinate(nodeNumber=mbs.AddNode(NodePointGround()), coordinate=0))
    bed = mbs.CreateRigidBody(
        inertia=bed_inertia(n), nodeType=exu.NodeType.RotationRxyz, gravity=[0, 0, -gravity], returnDict=True
    )
    nodes, motors = [bed["nodeNumber"]], []
    for c in n.corners:
        tree, tree_node = chain(mbs, c, gravity)
        rotor_node = mbs.AddNode(Node1D(referenceCoordinates=[0.0]))
        rotor = mbs.AddObject(
            ObjectRotationalMass1D("", c.rotor_inertia, rotor_node, [*c.axis[:2], c.thread])
        )
        carriage_springs(mbs, c, ground, bed["bodyNumber"], tree)
        nut_springs(mbs, c, rotor, tree)
        turning = mbs.AddMarker(MarkerNodeCoordinate(nodeNumber=rotor_node, coordinate=0))
        motors.append(
            mbs.AddObject(CoordinateSpringDamper(markerNumbers=[fixed, turning], stiffness=c.motor))
        )
        nodes += [tree_node, rotor_node]
    damper = None
    if damping is not None:
        zero = np.zeros_like(damping)
        damper = mbs.AddObject(
            ObjectGenericODE2(
                nodeNumbers=nodes,
                massMatrix=zero,
                stiffnessMatrix=zero,
                dampingMatrix=damping,
                forceVector=np.zeros(damping.shape[0]),
            )
        )
    mbs.Assemble()
    return Model(
        mbs=mbs,
        container=container,
        command=command(n),
        motors=tuple(motors),
        damper=damper,
        damping=damping,
        bed=nodes[0],
    )


def bed_inertia(n: Numbers) -> Any:
    """Bed and part as one rigid body about the origin of the bed surface."""
    total = None
    for mass, centre, inertia in n.bodies:
        one = RigidBodyInertia(mass=mass, inertiaTensor=np.diag(inertia), com=np.zeros(3)).Translated(
            list(centre)
        )
        total = one if total is None else total + one
    return total


def chain(mbs: Any, c: Corner, gravity: float) -> tuple[int, int]:
    """Carriage (three slides, three hinges) and nut (two slides, one hinge); object and node."""
    node = mbs.AddNode(
        NodeGenericODE2(
            referenceCoordinates=[0.0] * TREE,
            initialCoordinates=[0.0] * TREE,
            initialCoordinates_t=[0.0] * TREE,
            numberOfODE2Coordinates=TREE,
        )
    )
    J = exu.JointType
    masses, centres, inertias = [0.0] * TREE, np.zeros((TREE, 3)), np.zeros((TREE, 3, 3))
    masses[CARRIAGE], masses[NUT] = c.carriage_mass, c.nut_mass
    centres[CARRIAGE] = [0, 0, c.carriage_height]
    inertias[CARRIAGE] = c.carriage_inertia * np.eye(3)
    inertias[NUT] = np.diag([0, 0, c.nut_inertia])
    offsets = np.zeros((TREE, 3))
    offsets[6] = [0, 0, c.joint]
    tree = mbs.AddObject(
        ObjectKinematicTree(
            nodeNumber=node,
            gravity=[0, 0, -gravity],
            baseOffset=list(c.axis),
            jointTypes=[
                J.PrismaticX,
                J.PrismaticY,
                J.PrismaticZ,
                J.RevoluteX,
                J.RevoluteY,
                J.RevoluteZ,
                J.PrismaticX,
                J.PrismaticY,
                J.RevoluteZ,
            ],
            linkParents=list(range(-1, TREE - 1)),
            jointTransformations=exu.Matrix3DList([np.eye(3)] * TREE),
            jointOffsets=exu.Vector3DList([list(o) for o in offsets]),
            linkInertiasCOM=exu.Matrix3DList(list(inertias)),
            linkCOMs=exu.Vector3DList([list(o) for o in centres]),
            linkMasses=masses,
        )
    )
    return tree, node


def turned(direction: Array, along: list[float]) -> Array:
    """Stiffness (6, 6) in machine axes of springs whose first axis points along `direction` (x, y)."""
    x, y = direction
    axes = np.kron(np.eye(2), [[x, -y, 0.0], [y, x, 0.0], [0.0, 0.0, 1.0]])
    return axes @ np.diag(along) @ axes.T


def carriage_springs(mbs: Any, c: Corner, ground: int, bed: int, tree: int) -> None:
    """Guide (ground to carriage) and mount (carriage to bed, whose ball has moved out with the heat)."""

    def on_carriage(point: Array) -> int:
        return mbs.AddMarker(
            MarkerKinematicTreeRigid(objectNumber=tree, linkNumber=CARRIAGE, localPosition=list(point))
        )

    radial, tangential, tilt, yaw = c.guide_stiffness
    mbs.AddObject(
        RigidBodySpringDamper(
            markerNumbers=[
                mbs.AddMarker(MarkerBodyRigid(bodyNumber=ground, localPosition=list(c.axis + c.guide))),
                on_carriage(c.guide),
            ],
            stiffness=turned(c.guide_direction, [radial, tangential, 0, tilt, tilt, yaw]),
            damping=np.zeros((6, 6)),
        )
    )
    mbs.AddObject(
        RigidBodySpringDamper(
            markerNumbers=[
                on_carriage(c.mount - c.axis),
                mbs.AddMarker(MarkerBodyRigid(bodyNumber=bed, localPosition=list(c.mount + c.growth))),
            ],
            stiffness=turned(c.groove, [*c.mount_stiffness, 0, 0, 0]),
            damping=np.zeros((6, 6)),
        )
    )


def nut_springs(mbs: Any, c: Corner, rotor: int, tree: int) -> None:
    """Balls between carriage and nut; thread between rotor and nut."""

    def marker(link: int, x: float, y: float, z: float) -> int:
        return mbs.AddMarker(
            MarkerKinematicTreeRigid(objectNumber=tree, linkNumber=link, localPosition=[x, y, z])
        )

    for x, y, k in c.elements:
        mbs.AddObject(
            CartesianSpringDamper(
                markerNumbers=[marker(CARRIAGE, x, y, c.joint), marker(NUT, x, y, 0)], stiffness=[k, k, 0]
            )
        )
    mbs.AddObject(
        RigidBodySpringDamper(
            markerNumbers=[marker(CARRIAGE, 0, 0, c.joint), marker(NUT, 0, 0, 0)],
            stiffness=np.diag([0, 0, 0, 0, 0, c.joint_rotation]),
            damping=np.diag([c.joint_damping, c.joint_damping, 0, 0, 0, 0]),
        )
    )
    stiffness, offset = thread(c)
    mbs.AddObject(
        RigidBodySpringDamper(
            markerNumbers=[
                mbs.AddMarker(MarkerBodyRigid(bodyNumber=rotor, localPosition=[0, 0, 0])),
                marker(NUT, 0, 0, c.thread - c.joint),
            ],
            stiffness=stiffness,
            damping=np.zeros((6, 6)),
            offset=list(offset),
        )
    )


def thread(c: Corner) -> tuple[Array, Array]:
    """Stiffness (6, 6) of the nut on its screw in the rotor's frame, and where the bent screw has the nut.

    Deflection less what the centreline offers at that height, slope in each plane, and rise against turn.
    """
    r, s, bent = c.centreline, c.slope, c.curvature
    rows = np.zeros((5, 6))
    rows[0, [0, 2]] = 1, -s.real
    rows[1, [2, 4]] = -bent.real, 1
    rows[2, [1, 2]] = 1, -s.imag
    rows[3, [2, 3]] = -bent.imag, -1
    rows[4, [2, 5]] = 1, -c.hand * c.lead / (2 * np.pi)
    k = np.zeros((5, 5))
    k[:2, :2] = k[2:4, 2:4] = c.plane
    k[4, 4] = c.axial
    return rows.T @ k @ rows, np.array([r.real, r.imag, c.lifted, -s.imag, s.real, 0])


def command(n: Numbers) -> Array:
    """All coordinates per metre of commanded height; the nut is placed against its carriage here."""
    d = np.zeros(BED + 3 * (TREE + 1))
    d[2] = 1
    for k, c in enumerate(n.corners):
        d[BED + (TREE + 1) * k + 2], d[MOTORS[k]] = 1, c.turn
    return d


def matrices(model: Model) -> tuple[Array, Array]:
    """M and K (36, 36) as exudyn linearises the system where it stands, by differences of 1e-8 m or rad."""
    settings = exu.SimulationSettings()
    settings.timeIntegration.newton.numericalDifferentiation.relativeEpsilon = 1e-6
    settings.staticSolver.newton.numericalDifferentiation.relativeEpsilon = 1e-6
    M, K, _ = model.mbs.ComputeLinearizedSystem(simulationSettings=settings)
    K = np.array(K)
    return np.array(M), (K + K.T) / 2


def settle(model: Model) -> Array:
    """Solve for rest and return the coordinates (36,)."""
    settings = exu.SimulationSettings()
    settings.solution.file.write = False
    settings.staticSolver.newton.relativeTolerance = 1e-9
    settings.staticSolver.verboseMode = 0
    model.mbs.SolveStatic(settings, updateInitialValues=True)
    return np.array(model.mbs.systemData.GetODE2Coordinates())


def follow(model: Model, n: Numbers, start: Array, time: Array) -> tuple[Array, float]:
    """Bed pose (t, 6) against the commanded one at equidistant `time` (t,), and the solver's wall time.

    Raises ValueError for what does not turn with the screws alone: travel errors and measured lines.
    """
    if any(c.lifted for c in n.corners):
        raise ValueError("travel errors stay as they are at rest here")
    mbs, step = model.mbs, float(time[1] - time[0])
    height, speed, _ = commanded(n, time)
    forces = speed[:, None] * (model.damping @ model.command)
    turns = height[:, None] * model.command[list(MOTORS)]

    def pre_step(mbs: Any, t: float) -> bool:
        k = round(t / step)
        mbs.SetObjectParameter(model.damper, "forceVector", forces[k])
        for motor, turn in zip(model.motors, turns[k], strict=True):
            mbs.SetObjectParameter(motor, "offset", turn)
        return True

    mbs.SetPreStepUserFunction(pre_step)
    q, wall = run(mbs, model.bed, start, time)
    return q - height[:, None] * model.command[:BED], wall


def run(mbs: Any, node: int, start: Array, time: Array) -> tuple[Array, float]:
    """Integrate from `start` (36,) and return the bed's coordinates (t, 6) and the wall time."""
    sensor = mbs.AddSensor(
        SensorNode(
            nodeNumber=node,
            outputVariableType=exu.OutputVariableType.Coordinates,
            storeInternal=True,
            writeToFile=False,
        )
    )
    mbs.Assemble()
    mbs.systemData.SetODE2Coordinates(start, configuration=exu.ConfigurationType.Initial)
    settings = solver_settings(time)
    begun = perf_counter()
    mbs.SolveDynamic(settings, solverType=exu.DynamicSolverType.GeneralizedAlpha)
    wall = perf_counter() - begun
    return np.array(mbs.GetSensorStoredData(sensor))[:, 1 : 1 + BED], wall


def solver_settings(time: Array) -> Any:
    """Generalised-alpha of spectral radius 0.9 with modified Newton over equidistant `time`."""
    settings = exu.SimulationSettings()
    settings.timeIntegration.numberOfSteps = time.size - 1
    settings.timeIntegration.endTime = float(time[-1])
    settings.timeIntegration.generalizedAlpha.spectralRadius = 0.9
    settings.timeIntegration.newton.useModifiedNewton = True
    # the default of 1e-10 N lies below the rounding of these springs: Newton would stall near rest
    settings.timeIntegration.newton.absoluteTolerance = 1e-6
    settings.solution.file.write = False
    settings.solution.sensors.writePeriod = float(time[1] - time[0])
    settings.timeIntegration.verboseMode = 0
    return settings


def damping_matrix(n: Numbers, M: Array, K: Array) -> Array:
    """Modal damping of every mode and the joints' own dampers, for the coordinates of this module."""
    C = modal_damping(M, K, n.damping_ratio)
    for k, c in enumerate(n.corners):
        slip = BED + (TREE + 1) * k + 6
        C[slip, slip] += c.joint_damping
        C[slip + 1, slip + 1] += c.joint_damping
    return C
