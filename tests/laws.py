"""Which public functions of physics are laws, and which only put laws together."""

import importlib
import inspect
import pkgutil
from types import FunctionType

from loopmargin_service import physics

# What is no law of its own, and why. A module stands for every public function in it.
CONSTRUCTION = {
    "batch": "picks cases out of arrays, puts them back, and repeats a step until they settle",
    "bracket": "closes in on the crossing of any function, has no numbers of its own",
    "sites": "hands out the properties of the coolant",
    "passage.folded": "adds up passages that are alike",
    "rows": "adds up rows in one order",
    "star_mesh": "the solver of the linear balance of nodes",
    "crossflow": "adds up the series of `exchanger.effectiveness_crossflow_unmixed`",
    "network": "the solver: balances any laws of links, has no numbers of its own",
    "heat_balance": "the solver of one linear balance",
    "lumped": "writes the balances of heat as a matrix",
    "transient": "the solver in time: exponential of that matrix, and halving",
    "loop": "puts passages, components and pumps into one network",
    "machine": "repeats flow, air and heat until nothing moves",
    "fan_loss": "solves the machine again with some fans standing",
    "air_path.air_topology": "names the nodes of the air's network",
    "curve.strictly_falling": "says whether points are a curve at all",
    "passage.passage_terms": "gathers what `passage.passage_drop` needs",
    "rated_radiator.rating_possible": "says whether a rating can be at all",
}


def public_functions() -> dict[str, FunctionType]:
    """Name every public function of physics as module and function."""
    found = {}
    for module in pkgutil.iter_modules(physics.__path__):
        loaded = importlib.import_module(f"{physics.__name__}.{module.name}")
        for name, value in vars(loaded).items():
            if inspect.isfunction(value) and value.__module__ == loaded.__name__ and name[0] != "_":
                found[f"{module.name}.{name}"] = value
    return found


def laws() -> dict[str, FunctionType]:
    """Name the public functions that state a law."""
    return {
        name: function
        for name, function in public_functions().items()
        if name not in CONSTRUCTION and name.partition(".")[0] not in CONSTRUCTION
    }
