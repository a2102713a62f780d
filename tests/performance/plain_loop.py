"""The loop of the pump-head example, as a script-writer would solve it.

Friction by `fluids.friction.Churchill_1977`, fittings by `fluids.fittings`, the operating
point and the needed speed by `scipy.optimize.brentq`; the loop's curve at twelve flows.
"""

import math

import fluids
import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from loopmargin_service.questions import parts, pump_head
from loopmargin_wire.part import Adapter, Bend, QuickDisconnect, ReservoirPorts, Tube
from loopmargin_wire.pump_head import PumpHeadQuestion

G = 9.80665


class PlainLoop:
    """One branch and one pump; Darcy-Weisbach element by element."""

    def __init__(self, question: PumpHeadQuestion) -> None:
        self.question = question
        here = parts.liquid(parts.mix(question.coolant), question.coolant_c)
        self.density, self.viscosity = float(here.density[0]), float(here.viscosity[0])
        pump = question.pumps[0]
        self.ratio = pump.speed_rpm / pump.curve_speed_rpm
        flows = [point.flow_l_per_min / 60_000.0 for point in pump.curve]
        self.curve = PchipInterpolator(flows, [point.head_m for point in pump.curve])
        self.measured = {
            element.name: parts.measured_drop(element.pressure_drop, ())
            for element in question.branches[0].elements
            if not isinstance(element, Tube | Bend | Adapter | QuickDisconnect)
            and hasattr(element, "pressure_drop")
        }

    def drop(self, flow: float) -> float:
        """Pressure drop of the whole branch. [Pa]"""
        total = 0.0
        for element in self.question.branches[0].elements:
            if isinstance(element, QuickDisconnect):
                kv = element.kv_m3_per_h / 3600.0
                total += element.count * 1e5 * self.density / 1000.0 * (flow / kv) ** 2
            elif isinstance(element, Tube | Bend | Adapter | ReservoirPorts):
                total += self.passage(element, flow)
            else:
                terms = self.measured[element.name]
                total += terms.linear * self.viscosity / terms.viscosity * flow
                total += terms.quadratic * self.density / terms.density * flow * flow
        return total

    def passage(self, element: Tube | Bend | Adapter | ReservoirPorts, flow: float) -> float:
        """Pressure drop of a tube or of fittings. [Pa]"""
        bore = element.bore_mm * 1e-3
        velocity = flow / (0.25 * math.pi * bore * bore)
        reynolds = self.density * velocity * bore / self.viscosity
        dynamic = 0.5 * self.density * velocity * velocity
        if isinstance(element, ReservoirPorts):
            return dynamic * (0.5 + 1.0)
        if isinstance(element, Adapter):
            return dynamic * element.count * self.adapter_loss(element, reynolds)
        rough = element.roughness_um * 1e-6 / bore
        friction = fluids.friction.Churchill_1977(reynolds, rough)
        if isinstance(element, Tube):
            return dynamic * friction * element.length_mm / element.bore_mm
        loss = fluids.fittings.bend_rounded(
            Di=bore,
            angle=element.angle_deg,
            fd=friction,
            bend_diameters=element.radius_over_bore,
            method="Rennels",
        )
        return dynamic * element.count * loss

    @staticmethod
    def adapter_loss(element: Adapter, reynolds: float) -> float:
        """Loss coefficient of an adapter: turn, laminar part and both steps."""
        bore = element.bore_mm * 1e-3
        tube = bore if element.tube_bore_mm is None else element.tube_bore_mm * 1e-3
        return (
            fluids.fittings.bend_miter(element.angle_deg, method="Rennels")
            + 1000.0 / reynolds * element.angle_deg / 90.0
            + fluids.fittings.contraction_sharp(Di1=tube, Di2=bore)
            + fluids.fittings.diffuser_sharp(Di1=bore, Di2=tube)
        )

    def excess(self, flow: float, ratio: float) -> float:
        """Head of the pump over that of the loop. [m]"""
        head = ratio * ratio * float(self.curve(flow / ratio))
        return head - self.drop(flow) / (self.density * G)

    def answer(self) -> tuple[float, float, list[float]]:
        """Operating flow [m3/s], speed needed over speed now, heads of the loop [m]."""
        free = self.ratio * float(self.curve.x[-1])
        flow = brentq(self.excess, 1e-7, free, args=(self.ratio,), rtol=1e-12)
        wanted = self.question.required_flow_l_per_min / 60_000.0
        lowest = wanted / float(self.curve.x[-1])
        speed = brentq(lambda ratio: self.excess(wanted, ratio), lowest, 2.0, rtol=1e-9)
        heads = [self.drop(q) / (self.density * G) for q in np.linspace(0.08, 1.0, 12) * free]
        return flow, speed / self.ratio, heads

    def deviation(self) -> float:
        """Relative difference of the operating flow from the service's answer."""
        state = pump_head.answer(self.question).state
        if state is None:
            raise RuntimeError("the example has an operating point")
        return state.flow_l_per_min / 60_000.0 / self.answer()[0] - 1.0
