"""Wire units to SI and back; this is the only place where units convert."""

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Quantity = TypeVar("Quantity", float, NDArray[np.float64])

ZERO_CELSIUS = 273.15
L_PER_MIN = 1.0 / 60_000.0
M3_PER_H = 1.0 / 3600.0
MM = 1e-3
ML = 1e-6
MINUTE = 60.0
UM = 1e-6
CM2 = 1e-4
KPA = 1e3
INCH = 0.0254


def kelvin(celsius: Quantity) -> Quantity:
    """Turn degrees Celsius into kelvin."""
    return celsius + ZERO_CELSIUS


def celsius(kelvins: float) -> float:
    """Turn kelvin into degrees Celsius, as a plain float."""
    return float(kelvins) - ZERO_CELSIUS


def radians(degrees: float) -> float:
    """Turn degrees into radians."""
    return math.radians(degrees)


def out(value: float, unit: float) -> float:
    """Express an SI value in a wire unit, as a plain float."""
    return float(value) / unit
