"""Geometry of a radiator core of flat tubes with louvred fins between them.

Derived areas follow the notation that the correlations in `louvred_fin` were stated with:
the free area is that between fins and tubes, the air touches both. SI throughout, the louvre
angle in degrees.
"""

from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Core:
    """Geometry of a core; tubes run along the width, louvres across the gap between tubes.

    All lengths in metres, the angle in degrees, conductivities in W/(m K).
    """

    face_width: float
    face_height: float
    depth: float
    tube_pitch: float
    tube_thickness: float
    tube_wall: float
    passes: int
    fin_pitch: float
    fin_thickness: float
    fin_conductivity: float
    louvre_pitch: float
    louvre_angle: float
    louvre_length: float
    tube_conductivity: float = 110.0

    @property
    def fin_length(self) -> float:
        """Gap between two tubes, that one fin bridges. [m]"""
        return self.tube_pitch - self.tube_thickness

    @property
    def face_area(self) -> float:
        """Area of the face. [m2]"""
        return self.face_width * self.face_height

    @cached_property
    def tube_count(self) -> int:
        """Tubes in the face, at least one for each pass. [-]"""
        return max(round(self.face_height / self.tube_pitch), self.passes)

    @cached_property
    def free_area_ratio(self) -> float:
        """Area open to the air over area of the face. [-]"""
        open_area = (self.fin_length - self.fin_thickness) * (self.fin_pitch - self.fin_thickness)
        return open_area / (self.tube_pitch * self.fin_pitch)

    @cached_property
    def air_area(self) -> float:
        """Surface that the air touches, fins and tubes. [m2]"""
        perimeter = 2.0 * (self.fin_length + self.fin_pitch - self.fin_thickness)
        return self.face_area * self.depth * perimeter / (self.fin_pitch * self.tube_pitch)

    @cached_property
    def fin_share(self) -> float:
        """Surface of the fins over surface that the air touches. [-]"""
        return self.fin_length / (self.fin_length + self.fin_pitch - self.fin_thickness)

    @cached_property
    def hydraulic_diameter(self) -> float:
        """Hydraulic diameter of the air passages. [m]"""
        return 4.0 * self.free_area_ratio * self.face_area * self.depth / self.air_area

    @cached_property
    def tube_bore(self) -> tuple[float, float]:
        """Inside thickness and width of a tube. [m]"""
        return self.tube_thickness - 2.0 * self.tube_wall, self.depth - 2.0 * self.tube_wall

    @cached_property
    def tube_hydraulic_diameter(self) -> float:
        """Hydraulic diameter of a tube. [m]"""
        thickness, width = self.tube_bore
        return 2.0 * thickness * width / (thickness + width)

    @cached_property
    def liquid_area(self) -> float:
        """Surface that the coolant touches. [m2]"""
        return 2.0 * sum(self.tube_bore) * self.face_width * self.tube_count

    @cached_property
    def liquid_flow_area(self) -> float:
        """Section that the coolant of one pass flows through. [m2]"""
        thickness, width = self.tube_bore
        return thickness * width * self.tube_count / self.passes
