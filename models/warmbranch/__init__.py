"""Closed side branches on hot pipes: temperatures along them, true resonance, quiet tone.

SI units and kelvin throughout; every array's leading axis is the design. ``branch.py`` tells the
whole flow on one page.
"""

from warmbranch.batch import Batched as Batched
from warmbranch.branch import Answer as Answer
from warmbranch.branch import solve as solve
from warmbranch.case import Case as Case
from warmbranch.closures import Closures as Closures
from warmbranch.closures import MouthModel as MouthModel
from warmbranch.combustion import burnt_gas as burnt_gas
from warmbranch.errors import GeometryError as GeometryError
from warmbranch.errors import InputError as InputError
from warmbranch.errors import NotConvergedError as NotConvergedError
from warmbranch.errors import PropertyRangeError as PropertyRangeError
from warmbranch.errors import WarmbranchError as WarmbranchError
from warmbranch.gas import Composition as Composition
from warmbranch.geometry import Branch as Branch
from warmbranch.geometry import Piece as Piece
from warmbranch.main_pipe import MainPipe as MainPipe
from warmbranch.materials import metal as metal
from warmbranch.surfaces import surface as surface
from warmbranch.surroundings import Covering as Covering
from warmbranch.surroundings import Surroundings as Surroundings
