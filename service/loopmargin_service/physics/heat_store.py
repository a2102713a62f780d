"""Heat capacity of what a machine is made of."""

# J. Carvill, Mechanical Engineer's Data Handbook, 1993, table 3.4.4. [J/(kg K)]
COPPER = 384.0
BRASS = 377.0
ALUMINIUM = 897.0
# Acrylic and acetal alike: R. J. Crawford, Plastics Engineering, 3rd ed., table 1.8. [J/(kg K)]
PLASTIC = 1500.0


def metal(copper: float, brass: float, aluminium: float) -> float:
    """
    Heat capacity of masses of metal.

    Parameters
    ----------
    copper, brass, aluminium : float
        Masses. [kg]

    Returns
    -------
    float
        Heat capacity. [J/K]

    Notes
    -----
    Handbook values near 20 degC; alloys differ by up to 3 %.

    Validity
    --------
    Metals near 20 degC. Outside, they take up some percent more when hot.
    """
    return copper * COPPER + brass * BRASS + aluminium * ALUMINIUM
