"""How a check is read: what the meter shows, what each outcome's band is, how far each can be trusted.

These classes are part of the knowledge file's schema (a `[reading.<check>]` table). They are plain
standard-library dataclasses so that the everyday commands can load them without pydantic, and so that they
can be stored as data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal

Kind = Literal[
    "resistance",
    "continuity",
    "windings",
    "thermistor",
    "temperature",
    "bench_heat",
    "voltage",
    "current",
    "pressure",
    "air_speed",
    "dial",
    "moisture",
    "angle",
    "time",
]

Limit = float | Literal["OL"] | None
"""One end of a band: a number, "OL" (open circuit, or no upper end), or nothing (no end there)."""

Band = list[Limit]
"""`[low, high]` in the spec's unit."""


@dataclass(frozen=True)
class Winding:
    """One winding of a coil set, or one pair of terminals: its name and the band a sound one reads, ohm."""

    name: str
    low: float
    high: float
    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}


@dataclass(frozen=True)
class Remark:
    """Something to tell the technician when the reading falls in `[low, high]`."""

    low: Limit
    high: Limit
    text: str
    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}


@dataclass(frozen=True)
class ReadingSpec:
    """How one check's reading is turned into a likelihood over the check's outcomes.

    `bands` gives each outcome its band or bands; `otherwise` names the outcome that takes everything else.
    What the band is measured in depends on the kind:

    * thermistor: percent of the chart's value at the room's temperature;
    * bench_heat: degrees above the rating at which the thermostat opened (below it: negative);
    * dial: Btu/h worked out from seconds for a dial; moisture: percent of the dry weight held as water;
    * windings: not used, each winding has its own `low` and `high`, and the first outcome means "all in
    band";
    * every other kind: `unit`.
    """

    kind: Kind
    unit: str = ""
    bands: dict[str, list[Band]] = field(default_factory=dict)
    bands_for: dict[str, dict[str, list[Band]]] = field(default_factory=dict)
    """Other bands for a named fuel: `[reading.manifold_pressure.bands_for.propane]`."""
    otherwise: str | None = None
    edge: float = 0.0
    """How far a band's edge may lie from where it is written, in the unit of the bands (half-width)."""
    edge_fraction: float = 0.0
    """The same as a fraction of the edge; the two add."""
    accuracy: float = 0.0
    """Meter accuracy, percent of the reading."""
    counts: float = 0.0
    resolution: float = 0.0
    """Meter accuracy adds `counts` steps of the last digit, each worth `resolution` in `unit`."""
    leads: float = 0.0
    """Ohms of the test leads, taken off a resistance unless the reading says `leads 0.3`."""
    plausible: list[float] = field(default_factory=list)
    """`[low, high]` in `unit` that a good or a bad part can show; only used to catch a slip of the unit."""
    limits: list[float] = field(default_factory=list)
    """`[low, high]` in `unit` that no honest reading leaves; each kind has its own default."""
    of_range: Literal["between", "highest", "lowest"] = "between"
    """What "120-155" means: a value somewhere between, or the highest or lowest of a swing."""
    words: dict[str, list[str]] = field(default_factory=dict)
    """Words that say an outcome outright: `no_heat = ["no heat", "stays cold"]`."""
    remarks: list[Remark] = field(default_factory=list)
    windings: list[Winding] = field(default_factory=list)
    chart: list[list[float]] = field(default_factory=list)
    """Thermistor chart: `[temperature in chart_unit, ohm]` rows."""
    chart_unit: Literal["F", "C"] = "F"
    ambient_accuracy: float = 3.0
    """How far the room temperature may be off at the thermistor, in chart_unit (half-width)."""
    rated_range: list[float] = field(default_factory=list)
    """`[low, high]` that a thermostat's rating can be, in `unit`."""
    heating_value: float = 1030.0
    heating_values: dict[str, float] = field(default_factory=dict)
    """Btu per cubic foot, and other values for a named fuel."""
    duct_inches: float = 4.0
    """Duct diameter that turns cfm into ft/min."""
    source: str = ""
    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    def bands_of(self, fuel: str | None = None) -> Mapping[str, list[Band]]:
        """The bands for a fuel: its own where the spec has them, the general ones otherwise."""
        return self.bands_for.get(fuel, self.bands) if fuel else self.bands

    def heat_content(self, fuel: str | None = None) -> float:
        """Btu per cubic foot of the fuel."""
        return self.heating_values.get(fuel, self.heating_value) if fuel else self.heating_value
