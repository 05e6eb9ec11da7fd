"""The aliases that formulas use in their signatures, one for each quantity."""

from __future__ import annotations

from typing import Annotated

from workbook_tools.quantities.kinds import Choice, Quantity, Table, Text

# Upper ends are far above any farm: they catch slips of a unit or of a decimal point, not judgement.
# A pond of 100 hectares, 10 m deep, is 1e10 L.
Litres = Annotated[float, Quantity("volume", "L", 0, 1e10, above=True)]
LitresOrNone = Annotated[float, Quantity("volume", "L", 0, 1e10)]
Metres = Annotated[float, Quantity("length", "m", 0, 10_000, above=True)]
MetresOrNone = Annotated[float, Quantity("length", "m", 0, 10_000)]
SquareMetres = Annotated[float, Quantity("area", "m2", 0, 1e8, above=True)]
Centimetres = Annotated[float, Quantity("fish length", "cm", 0, 2_000, above=True)]
Grams = Annotated[float, Quantity("mass", "g", 0, 1e9, above=True)]
GramsOrNone = Annotated[float, Quantity("mass", "g", 0, 1e9)]
Kilograms = Annotated[float, Quantity("mass", "kg", 0, 1e8, above=True)]
KilogramsOrNone = Annotated[float, Quantity("mass", "kg", 0, 1e8)]
# 100 g/L is past what any bath holds; a stock is given in g/L
MilligramsPerLitre = Annotated[float, Quantity("concentration", "mg/L", 0, 100_000, above=True)]
ConcentrationNow = Annotated[float, Quantity("present concentration", "mg/L", 0, 100_000)]
GramsPerLitre = Annotated[float, Quantity("concentration", "g/L", 0, 1_000, above=True)]
GramsPerLitreOrNone = Annotated[float, Quantity("present concentration", "g/L", 0, 1_000)]
MilligramsPerMillilitre = Annotated[float, Quantity("strength", "mg/mL", 0, 5_000, above=True)]
MicrolitresPerLitre = Annotated[float, Quantity("dose by volume", "uL/L", 0, 100_000, above=True)]
Millilitres = Annotated[float, Quantity("volume of product", "mL", 0, 1e12)]
Flow = Annotated[float, Quantity("flow", "L/min", 0, 1e7, above=True)]
Minutes = Annotated[float, Quantity("time", "min", 0, 1e6, above=True)]
MinutesOrNone = Annotated[float, Quantity("time", "min", 0, 1e9)]
Seconds = Annotated[float, Quantity("time", "s", 0, 1e6, above=True)]
SecondsOrNone = Annotated[float, Quantity("time", "s", 0, 1e12)]
Fraction = Annotated[float, Quantity("share", "1", 0, 1, above=True, parts=True)]
Ratio = Annotated[float, Quantity("ratio by weight", "g/g", 0, 100, above=True)]
Count = Annotated[float, Quantity("count", "1", 0, 10_000, whole=True)]
Number = Annotated[float, Quantity("number", "1", 1, 1_000, whole=True)]
PerMinute = Annotated[float, Quantity("rate", "/min", 0, 100_000)]
RealNumber = Annotated[float, Quantity("number", "1", -1e300, 1e300)]
# Days since the end of 1899 as spreadsheets count them; a time of day alone is below 1. 2958466 is the year 10000.
DateTimeSerial = Annotated[float, Quantity("time of day or date and time", "d", 0, 2_958_466, below=True)]
StageLevel = Annotated[float, Quantity("stage of anaesthesia", "0 to 6", 0, 6, whole=True)]
UnitName = Annotated[str, Text("unit", "a unit by name or symbol, such as gallon, foot**3, mg/L or degF")]

# Readings and counts that the sheets ask for
Dimension = Annotated[float, Quantity("dimension", "as chosen", 0, 100_000, above=True)]
DimensionOrNone = Annotated[float, Quantity("dimension", "as chosen", 0, 100_000)]
WaterTemperature = Annotated[float, Quantity("water temperature", "C", -3, 45)]
MeasuredPH = Annotated[float, Quantity("pH", "", 0, 14)]
DissolvedOxygen = Annotated[float, Quantity("dissolved oxygen", "mg/L", 0, 100)]
Alkalinity = Annotated[float, Quantity("alkalinity", "mg/L CaCO3", 0, 5_000)]
AmmoniaNitrogen = Annotated[float, Quantity("total ammonia nitrogen", "mg/L N", 0, 1_000)]
WaterSalinity = Annotated[float, Quantity("salinity", "g/L", 0, 300)]
FishNumber = Annotated[float, Quantity("number of fish", "fish", 1, 1e9, whole=True)]
FishGrams = Annotated[float, Quantity("fish mass", "g", 0, 1e6, above=True)]
TopUps = Annotated[float, Quantity("top-ups", "packets", 0, 100, whole=True)]

# Words of the stage table; their stages stand in formulas/stage.py.
Equilibrium = Annotated[str, Choice("equilibrium", ("kept", "partly lost", "lost"))]
Response = Annotated[str, Choice("response", ("normal", "slightly reduced", "strong pressure only", "none"))]
Ventilation = Annotated[
    str,
    Choice("ventilation", ("normal", "slightly slow", "fast", "slow and regular", "slow and irregular", "stopped")),
]

StepTable = Annotated[
    list[list[float]],
    Table("steps", (("step", ""), ("dose", "mg/L"), ("drug", "g"), ("buffer", "g"), ("total drug", "g"))),
]
