"""The settled machine as wire states."""

from loopmargin_service.physics import air
from loopmargin_service.physics.air_path import CASE
from loopmargin_service.questions import machine_build, machine_draws
from loopmargin_service.questions.conversion import L_PER_MIN, M3_PER_H, celsius, out
from loopmargin_service.questions.machine_cases import surroundings
from loopmargin_service.questions.operating_point import (
    Point,
    branch_states,
    element_states,
    pump_states,
)
from loopmargin_service.questions.pump_speed import total_flow
from loopmargin_service.questions.settled import BASE, Settled
from loopmargin_wire.steady_state import (
    AirPathState,
    CaseState,
    ComponentState,
    HeatBalance,
    MachineElementState,
    MachineSolve,
    MachineState,
    NodeState,
    RadiatorPoint,
)
from loopmargin_wire.supply_headroom import HeadroomState


def describe(settled: Settled) -> MachineState:
    """Describe the whole machine."""
    question, state = settled.question, settled.state
    point = settled.point()
    density = float(point.liquid.pumps.density[0, 0])
    hottest = celsius(state.stacked[:, BASE].max())
    supply = settled.supply.state
    around = surroundings(question, settled.built, state)
    radiators = _radiators(settled, point)
    heat = _heat_balance(settled, supply, radiators)
    return MachineState(
        coolant_hottest_c=hottest,
        coolant_mean_c=celsius(state.stacked[:, BASE].mean()),
        rise_over_room_k=hottest - question.room.air_c,
        flow_l_per_min=out(
            float(total_flow(settled.plumbing.loop, point.flow)[0]) / density, L_PER_MIN
        ),
        dc_power_w=supply.sustained_w,
        wall_power_w=None if supply.mains is None else supply.mains.power_w,
        wall_current_a=None if supply.mains is None else supply.mains.current_a,
        nodes=tuple(
            NodeState(node=name, coolant_c=celsius(state.temperatures.nodes[number, BASE]))
            for number, name in enumerate(settled.plumbing.nodes)
        ),
        components=_components(settled, point),
        radiators=radiators,
        pumps=pump_states(settled.plumbing.loop, question.pumps, point, around),
        branches=branch_states(settled.plumbing, question.branches, point),
        elements=_elements(settled, point),
        case=_case(settled),
        heat=heat,
        noise=None if settled.noise is None else settled.noise.state,
        simulation=(
            None
            if settled.drawn is None
            else machine_draws.simulation(settled.drawn, question, settled.built)
        ),
        solve=MachineSolve(
            iterations=int(state.iterations[BASE]),
            residual=abs(heat.residual_w) / max(abs(heat.radiators_to_air_w), 1e-9),
            coolant_flow_residual=float(state.flows.residual[BASE]),
            air_flow_residual=float(state.air_flows.residual[BASE]),
            temperature_step_k=float(state.change[BASE]),
        ),
    )


def _through(
    settled: Settled, point: Point, branch: int, ends: tuple[int, int]
) -> tuple[float, float]:
    """Give the temperatures that enter and leave something, by the direction of flow. [K]"""
    before, after = (float(settled.state.stacked[end, BASE]) for end in ends)
    return (before, after) if point.flow[branch, 0] >= 0.0 else (after, before)


def _elements(settled: Settled, point: Point) -> tuple[MachineElementState, ...]:
    """Describe every element with the coolant that enters and leaves it."""
    states = element_states(settled.plumbing, settled.question.branches, point)
    built, rows = settled.built, []
    for number, (piece, state) in enumerate(zip(settled.plumbing.pieces, states, strict=True)):
        ends = built.before[number], built.after[number]
        entering, leaving = _through(settled, point, piece.branch, ends)
        rows.append(
            MachineElementState(
                branch=state.branch,
                element=state.element,
                pressure_drop_kpa=state.pressure_drop_kpa,
                velocity_m_per_s=state.velocity_m_per_s,
                reynolds=state.reynolds,
                regime=state.regime,
                velocity_to_carry_air_m_per_s=state.velocity_to_carry_air_m_per_s,
                slug_rise_velocity_m_per_s=state.slug_rise_velocity_m_per_s,
                coolant_in_c=celsius(entering),
                coolant_out_c=celsius(leaving),
            )
        )
    return tuple(rows)


def _components(settled: Settled, point: Point) -> tuple[ComponentState, ...]:
    """Describe every cooled part."""
    density = float(point.liquid.pumps.density[0, 0])
    rows = []
    for item in settled.built.blocks:
        ends = item.place, item.place + 1
        entering, _ = _through(settled, point, item.branch, ends)
        heat = item.wire.power_w * item.wire.captured_fraction
        flow = abs(float(point.flow[item.branch, 0])) / density
        resistance = item.law.at(flow) + item.wire.interface_k_per_w
        rows.append(
            ComponentState(
                component=item.wire.name,
                component_c=celsius(entering) + heat * resistance,
                limit_c=item.wire.limit_c,
                coolant_in_c=celsius(entering),
                heat_to_coolant_w=heat,
                resistance_k_per_w=resistance,
            )
        )
    return tuple(rows)


def _radiators(settled: Settled, point: Point) -> tuple[RadiatorPoint, ...]:
    """Describe every radiator with both of its streams."""
    state, rows = settled.state, []
    for number, item in enumerate(settled.built.radiators):
        entering, leaving = _through(settled, point, item.branch, (item.place, item.place + 1))
        air_in = float(state.air_temperature[number, BASE])
        flow = float(state.air_flows.flow[number, BASE])
        conductance = float(state.conductance[number, BASE])
        heat = conductance * (entering - air_in)
        volume = flow / float(state.air_density[number, BASE])
        section = settled.built.machine.sections[number]
        stream = machine_build.air_stream(state, number, BASE)
        warming = heat / max(abs(flow) * air.HEAT_CAPACITY, 1e-9)
        rows.append(
            RadiatorPoint(
                radiator=item.wire.name,
                heat_w=heat,
                conductance_w_per_k=conductance,
                coolant_in_c=celsius(entering),
                coolant_out_c=celsius(leaving),
                air_in_c=celsius(air_in),
                air_out_c=celsius(air_in + warming),
                air_flow_m3_per_h=out(volume, M3_PER_H),
                face_velocity_m_per_s=volume / section.face_area,
                air_pressure_drop_pa=float(section.air_drop(stream)[0]),
            )
        )
    return tuple(rows)


def _case(settled: Settled) -> CaseState:
    """Describe the air in the case and what passes its openings and fans."""
    state, question = settled.state, settled.question
    first = len(settled.built.radiators)
    names = [fans.name for fans in question.case.fans]
    names += [opening.name for opening in question.case.openings]
    rows = []
    for number, name in enumerate(names, start=first):
        path = settled.built.machine.paths[number]
        inward = 1.0 if path.head == CASE else -1.0
        volume = float(state.air_flows.flow[number, BASE] / state.air_density[number, BASE])
        rows.append(AirPathState(name=name, air_flow_m3_per_h=inward * out(volume, M3_PER_H)))
    return CaseState(
        air_c=celsius(state.temperatures.case[BASE]),
        pressure_pa=float(state.air_flows.pressure[CASE, BASE]),
        paths=tuple(rows),
    )


def _heat_balance(
    settled: Settled, supply: HeadroomState, radiators: tuple[RadiatorPoint, ...]
) -> HeatBalance:
    """Add up where the heat comes from and where it goes."""
    state, built = settled.state, settled.built
    given = sum(item.wire.power_w * item.wire.captured_fraction for item in built.blocks)
    pumped = float(state.pump_heat[:, BASE].sum())
    carried = sum(radiator.heat_w for radiator in radiators)
    return HeatBalance(
        parts_to_coolant_w=given,
        pumps_to_coolant_w=pumped,
        radiators_to_air_w=carried,
        residual_w=given + pumped - carried,
        to_case_air_w=float(state.case_heat[BASE]),
        fans_to_room_w=machine_build.fans_power(built, in_case=False),
        supply_to_room_w=0.0 if supply.mains is None else supply.mains.heat_from_supply_w,
        to_room_w=supply.sustained_w if supply.mains is None else supply.mains.heat_to_room_w,
    )
