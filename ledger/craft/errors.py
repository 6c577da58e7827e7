"""What the sugar craft refuses, each with its permanent code. See ``ledger.errors`` for the whole tree.

Every message names the value that was given, the limit it broke and the way out.
"""

from __future__ import annotations

from ledger.errors import BadInput, NotEnough, Refused


class OutOfRange(BadInput):
    """A figure outside what the craft can calculate with: a moisture over 100 %, a negative length."""

    code = "craft.out-of-range"


class AltitudeUnknown(BadInput):
    """No altitude, boiling-water reading or barometer was given, so no end temperature can be named."""

    code = "craft.altitude-unknown"


class ThermometerDoubtful(Refused):
    """A boiling-water reading that no weather can explain: the thermometer or the altitude is wrong."""

    code = "craft.thermometer-doubtful"


class KettleTooSmall(Refused):
    """The charge does not fit the kettle in the number of loads that can be worked together."""

    code = "craft.kettle-too-small"


class LoadTooSmall(Refused):
    """A load so small that the kettle would scorch it or the thermometer would not reach it."""

    code = "craft.load-too-small"


class RecipeIncomplete(BadInput):
    """A recipe without the figure that the calculation stands on."""

    code = "craft.recipe-incomplete"


class NotEnoughWater(NotEnough):
    """There is less water in the charge than the sugar needs to dissolve."""

    code = "craft.not-enough-water"


class LegendUnreadable(BadInput):
    """The legend file is not TOML, or lacks or contradicts a field."""

    code = "craft.legend-unreadable"


class PictureUnreadable(BadInput):
    """The picture file is neither a PNG nor an SVG of the kind that can be measured."""

    code = "craft.picture-unreadable"


class ColourNotInLegend(BadInput):
    """The picture holds a colour that the legend gives to no portion."""

    code = "craft.colour-not-in-legend"


class PictureAntiAliased(BadInput):
    """The picture's edges are softened: in-between colours that are nobody's sugar."""

    code = "craft.picture-anti-aliased"


class PortionNotInPicture(BadInput):
    """The legend gives a colour to a portion, and the picture never uses it."""

    code = "craft.portion-not-in-picture"


class JacketMissing(BadInput):
    """The rim of the rod is not wholly jacket, or the legend does not say what the jacket is."""

    code = "craft.jacket-missing"


class AreasDoNotClose(BadInput):
    """The coloured areas do not fill the round cross-section of the log."""

    code = "craft.areas-do-not-close"
