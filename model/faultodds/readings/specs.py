"""How a check is read: what the meter shows, what each outcome's band is, how far each can be trusted.

These classes are part of the knowledge file's schema (a `[reading.<check>]` table). They are plain
standard-library dataclasses so that the everyday commands can load them without pydantic, and so that they
can be stored as data.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
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
    "concentration",
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
    fact: str = ""
    """The fact of the machine that some of this depends on, such as `fuel`; what is for one value of it is under its name."""
    bands_for: dict[str, dict[str, list[Band]]] = field(default_factory=dict)
    """Other bands for a value of the fact: `[reading.manifold_pressure.bands_for.propane]`."""
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
    danger_over: float | None = None
    """From this value on, in `unit`, the reading is a danger, and is heard as `danger` says it ("outlet at {} volts")."""
    danger_under: float | None = None
    """Under this value it is one as well."""
    danger: str = ""
    of_range: Literal["between", "highest", "lowest"] = "between"
    """What "120-155" means: a value somewhere between, or the highest or lowest of a swing."""
    words: dict[str, list[str]] = field(default_factory=dict)
    """Words that say an outcome outright: `no_heat = ["no heat", "stays cold"]`."""
    remarks: list[Remark] = field(default_factory=list)
    windings: list[Winding] = field(default_factory=list)
    windings_for: dict[str, list[Winding]] = field(default_factory=dict)
    """Other windings for a value of the fact; none at all where the maker's sheet has to tell."""
    windings_at: float | None = None
    """The room's temperature, in chart_unit, that the windings' bands are for: copper reads more when it is warmer."""
    chart: list[list[float]] = field(default_factory=list)
    """Thermistor chart: `[temperature in chart_unit, ohm]` rows."""
    chart_unit: Literal["F", "C"] = "F"
    ambient_accuracy: float = 3.0
    """How far the room temperature may be off at the thermistor, in chart_unit (half-width)."""
    rated_range: list[float] = field(default_factory=list)
    """`[low, high]` that a thermostat's rating can be, in `unit`."""
    heating_value: float = 1030.0
    heating_values: dict[str, float] = field(default_factory=dict)
    """Btu per cubic foot, and others for a value of the fact."""
    duct_inches: float = 4.0
    """Duct diameter that turns cfm into ft/min."""
    source: str = "common practice, no source"
    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    @property
    def at_room(self) -> bool:
        """Whether the reading depends on the room's temperature."""
        return self.kind == "thermistor" or self.windings_at is not None

    @property
    def values(self) -> list[str]:
        """The values of the fact that have something of their own here."""
        return sorted({*self.bands_for, *self.windings_for, *self.heating_values})

    @property
    def has_bands(self) -> bool:
        """Whether there is anything to hold a reading against; the maker's sheet has to tell otherwise."""
        return self.kind != "windings" or bool(self.windings)

    def given(self, value: str | None) -> ReadingSpec:
        """The spec for a machine with this value of the fact: its own where there is one, the general one otherwise."""
        if value not in self.values:
            return self
        return replace(
            self,
            bands=self.bands_for.get(value, self.bands),
            windings=self.windings_for.get(value, self.windings),
            heating_value=self.heating_values.get(value, self.heating_value),
        )
