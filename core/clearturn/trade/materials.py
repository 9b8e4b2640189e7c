"""Materials of a brake corner, one value a row with where it was read.

Values are typical; a drawing or a maker's sheet goes before them.  "from memory" marks what was
not read in a source.
"""

from __future__ import annotations

from dataclasses import dataclass

from clearturn.trade.inputs import SumProblem

CALLISTER = "Callister, Fundamentals of Materials Science and Engineering 3e, app. B"


@dataclass(frozen=True, slots=True)
class Material:
    """A material.

    Attributes
    ----------
    expansion_per_mk : float
        Linear thermal expansion, 1e-6/K.
    heat_j_per_kg_k, heat_low_j_per_kg_k, heat_high_j_per_kg_k : float
        Specific heat and the spread of the sources.
    yield_mpa, ultimate_mpa : float or None
        Least values; None where a casting or ring is not rated so.
    """

    name: str
    density_kg_per_m3: float
    expansion_per_mk: float
    young_gpa: float
    heat_j_per_kg_k: float
    heat_low_j_per_kg_k: float
    heat_high_j_per_kg_k: float
    yield_mpa: float | None
    ultimate_mpa: float | None
    emissivity: float
    source: str

    @property
    def shear_strength_mpa(self) -> float | None:
        """0.6 of the ultimate strength (common practice, no source)."""
        return None if self.ultimate_mpa is None else 0.6 * self.ultimate_mpa


MATERIALS: dict[str, Material] = {
    "grey iron": Material(
        "grey iron", 7200.0, 11.4, 100.0, 544.0, 450.0, 544.0, None, 207.0, 0.6,
        f"{CALLISTER} (E, strength, expansion; specific heat from memory); 480 J/kgK GOST 1412-85 "
        "data page, 450 to 490 other pages; density and emissivity from memory",
    ),
    "carbon ceramic": Material(
        "carbon ceramic", 2400.0, 1.5, 30.0, 1000.0, 800.0, 1200.0, None, 20.0, 0.8,
        "expansion in plane 0.5 to 2: Kumar et al., J. Eur. Ceram. Soc. 29 (2009) 2849, abstract; "
        "all else from memory, wide spread: ask the disc maker",
    ),
    "Ti-6Al-4V": Material(
        "Ti-6Al-4V", 4420.0, 8.6, 114.0, 560.0, 560.0, 610.0, 830.0, 900.0, 0.4,
        f"{CALLISTER} (strength, expansion); supplier table (E, density, specific heat); "
        "emissivity from memory",
    ),
    "aluminium 6061-T6": Material(
        "aluminium 6061-T6", 2700.0, 23.6, 69.0, 896.0, 880.0, 900.0, 276.0, 310.0, 0.3,
        f"{CALLISTER} (specific heat from memory); emissivity of anodised parts from memory",
    ),
    "aluminium 7075-T6": Material(
        "aluminium 7075-T6", 2810.0, 23.4, 71.0, 960.0, 900.0, 960.0, 505.0, 572.0, 0.3,
        f"{CALLISTER} (specific heat from memory); emissivity from memory",
    ),
    "aluminium A356-T6": Material(
        "aluminium A356-T6", 2670.0, 21.4, 72.4, 963.0, 960.0, 965.0, 165.0, 234.0, 0.3,
        "data sheet with Aluminum Association values, sand cast; emissivity from memory",
    ),
    "steel 42CrMo4": Material(
        "steel 42CrMo4", 7850.0, 12.3, 207.0, 465.0, 460.0, 475.0, 750.0, 900.0, 0.6,
        f"{CALLISTER} as 4140 (density, E, expansion); strength +QT EN 10083-3, specific heat and "
        "emissivity from memory",
    ),
}  # fmt: skip

# How hot pad, ring and hub may be told apart from typing mistakes.
ZERO_C_IN_K = 273.15


def material(name: str, *path: str | int) -> Material:
    """Return a material by its name.

    Raises
    ------
    SumProblem
        If it is not in the table, at `path`.
    """
    if name not in MATERIALS:
        raise SumProblem(
            "this material is not in the table", *path, found=repr(name),
            allowed=", ".join(MATERIALS), mend="give the expansion or strength itself",
        )  # fmt: skip
    return MATERIALS[name]
