"""The words that entries and readings are written in."""

from __future__ import annotations

from enum import IntEnum, StrEnum


class Quantity(StrEnum):
    """What a series measures; the unit is part of the name."""

    TEMPERATURE_C = "temperature_c"
    RH_PCT = "rh_pct"
    MASS_KG = "mass_kg"  # of a scale or load cell, as it says it
    PIN_MC_PCT = "pin_mc_pct"  # of a resistance meter left in the wood
    CAPACITANCE_MC_PCT = "capacitance_mc_pct"
    PM2_5_UG_M3 = "pm2_5_ug_m3"
    PM10_UG_M3 = "pm10_ug_m3"
    RAIN_MM = "rain_mm"
    BATTERY_PCT = "battery_pct"
    BATTERY_V = "battery_v"


BATTERY = (Quantity.BATTERY_PCT, Quantity.BATTERY_V)
AIR = (Quantity.TEMPERATURE_C, Quantity.RH_PCT)  # what makes a probe one of a place's air

QUANTITY_UNITS = {
    Quantity.TEMPERATURE_C: "°C",
    Quantity.RH_PCT: "%RH",
    Quantity.MASS_KG: "kg",
    Quantity.PIN_MC_PCT: "%MC (pins)",
    Quantity.CAPACITANCE_MC_PCT: "%MC (capacitance)",
    Quantity.PM2_5_UG_M3: "µg/m³ PM2.5",
    Quantity.PM10_UG_M3: "µg/m³ PM10",
    Quantity.RAIN_MM: "mm rain",
    Quantity.BATTERY_PCT: "% battery",
    Quantity.BATTERY_V: "V battery",
}


class Quality(IntEnum):
    """Why a stored value is, or is not, taken as good. The value itself is never altered."""

    GOOD = 0
    OUT_OF_RANGE = 1
    CLOCK_AHEAD = 2
    SPIKE = 3
    TOO_FAST = 4
    STUCK = 5
    LATE = 6


QUALITY_WORDS = {
    Quality.GOOD: "good",
    Quality.OUT_OF_RANGE: "outside what this kind of probe can measure",
    Quality.CLOCK_AHEAD: "stamped later than it arrived",
    Quality.SPIKE: "a spike: far from the readings before and after it",
    Quality.TOO_FAST: "changed faster than such a thing can",
    Quality.STUCK: "the very same figure for too long",
    Quality.LATE: "without a time of its own, after it waited at the broker for nobody knows how long",
}


class SubjectKind(StrEnum):
    """What an entry can be about."""

    PLACE = "place"
    PROBE = "probe"
    STACK = "stack"
    SET = "set"
    BOARD = "board"
    METER = "meter"  # a pin meter together with the lot of wood that it is calibrated on
    LIMIT = "limit"  # a limit of the tables, under its name there, that somebody has set for this yard
    FINISH = "finish"  # a product on the shelf, as its data sheet tells of it


class PlaceKind(StrEnum):
    """What moves the air in a place: it sets the film on the wood."""

    YARD = "yard"
    SHED = "shed"
    ROOM = "room"
    KILN = "kiln"
    FINISH_ROOM = "finish room"


class Cut(StrEnum):
    """How the growth rings meet the face."""

    FLAT = "flat-sawn"
    RIFT = "rift-sawn"
    QUARTER = "quarter-sawn"


class LastMoved(StrEnum):
    """Which way a piece last went; it sets on which side of its sorption loop it stands."""

    DRIED = "dried"
    GAINED = "gained"
    UNKNOWN = "unknown"


class Origin(StrEnum):
    """Where a board's water came from; it sets what is believed before the first weigh-in."""

    FRESH = "fresh-sawn"
    PART_SEASONED = "part-seasoned"
    RECLAIMED = "water-reclaimed"
    RESAWN = "re-sawn"


class Rest(StrEnum):
    """How a board lies; it sets which of its faces the air reaches, and which air."""

    FREE = "free on all sides"
    STACK = "in a stack"
    WINDWARD = "windward edge of its stack"
    MIDDLE = "middle of its stack"
    TOP = "top of its stack"
    BENCH = "flat on a bench"
    WRAPPED = "wrapped in plastic film"
    CASE = "in a closed case"


class Coat(StrEnum):
    """Which of a board's faces carry a finish, which slows the water."""

    BARE = "bare"
    ONE_FACE = "one face finished"
    ALL_ROUND = "finished all round"


class WaterKind(StrEnum):
    """How water came to a board that was not drying."""

    GLUED = "glued"
    BENT = "bent"  # steamed, or wetted over a hot iron
    RAINED_ON = "rained on"
    WETTED = "wetted"


class Faces(StrEnum):
    """Which of a board's faces."""

    MARKED = "marked face"
    OTHER = "other face"
    BOTH = "both faces"


class OutcomeKind(StrEnum):
    """What was looked at on a board when it was dry, or on the way there."""

    CHECKS = "checks"
    HONEYCOMB = "honeycomb"
    COLLAPSE = "collapse"
    STAIN = "stain"
    MOULD = "mould"
    WARP = "twist or warp"
    CASE_HARDENING = "case-hardening"  # by the prong test
    THICKNESS = "thickness"  # measured: a number, not a degree
    FINISHED = "finished"  # its drying is closed


class Degree(StrEnum):
    """How bad it was, how the prongs of the test turned, or how a board's drying ended."""

    NONE = "none"
    SLIGHT = "slight"
    BAD = "bad"
    STRAIGHT = "straight"  # no stress
    IN = "turned in"  # case-hardened
    OUT = "turned out"  # reverse case-hardened
    WELL = "well"
    SPOILT = "spoilt"


class PieceKind(StrEnum):
    """What a piece of a set is to it; it sets what is compared with what."""

    TWIN = "twin"  # one of two halves that are to be joined
    PLATE = "plate"
    BRACE = "brace"
    BLOCK = "block"
    NECK = "neck"
    OTHER = "other"


class WaterBody(StrEnum):
    """What water a board or log came out of."""

    FRESH = "fresh"
    BRACKISH = "brackish"
    SALT = "salt"
    UNKNOWN = "unknown"


class Sapwood(StrEnum):
    """What the water has left of the sapwood."""

    SOUND = "sound"
    LOST = "lost"
    NONE = "none on it"
    UNKNOWN = "unknown"


class Smell(StrEnum):
    """What wood from the water smells of."""

    NONE = "none"
    SOUR = "sour or sulphurous"
    TAR = "tar or creosote"
    UNKNOWN = "unknown"


class MixedBy(StrEnum):
    """How a data sheet counts the shares of what is in a finish."""

    MASS = "by mass"
    VOLUME = "by volume"


class ExtractionKnown(StrEnum):
    """How it is known how much air is drawn out of a room."""

    MEASURED = "measured"
    PRINTED = "printed on the fan"
    UNSAID = ""
