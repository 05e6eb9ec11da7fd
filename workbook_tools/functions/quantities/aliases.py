"""The aliases that formulas use in their signatures, one for each quantity."""

from __future__ import annotations

from typing import Annotated

from workbook_tools.functions.quantities.kinds import Choice, Quantity, Series, TableResult, Text

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
StopwatchReading = Annotated[float, Quantity("stopwatch reading typed as m:ss", "d", 0, 10, below=True)]
DateTimeSerial = Annotated[float, Quantity("time of day or date and time", "d", 0, 2_958_466, below=True)]
StageLevel = Annotated[float, Quantity("stage of anaesthesia", "0 to 6", 0, 6, whole=True)]
UnitName = Annotated[str, Text("unit", "a unit by name or symbol, such as gallon, foot**3, mg/L or degF")]

# Water. Temperatures and salinities end where the equations of formulas/water.py were fitted.
Acidity = Annotated[float, Quantity("pH", "1", 0, 14)]
# outside this no water holds fish, and the carbonate balance is no longer what sets the pH
WaterAcidity = Annotated[float, Quantity("pH of the water", "1", 3, 11)]
WaterTemperature = Annotated[float, Quantity("water temperature", "C", -2, 40)]
FreshWaterTemperature = Annotated[float, Quantity("water temperature", "C", 0, 40)]
Salinity = Annotated[float, Quantity("salinity", "g/kg", 0, 42)]
PracticalSalinity = Annotated[float, Quantity("practical salinity", "PSS-78", 0, 42)]
Conductivity = Annotated[float, Quantity("conductivity", "mS/cm", 0, 100, above=True)]
Pressure = Annotated[float, Quantity("air pressure", "kPa", 30, 120)]
Altitude = Annotated[float, Quantity("altitude", "m", -500, 9_000)]
WaterDensity = Annotated[float, Quantity("density of water", "kg/m3", 900, 1_100)]
TotalAmmonia = Annotated[float, Quantity("total ammonia nitrogen", "mg/L", 0, 1_000)]
UnionisedAmmonia = Annotated[float, Quantity("un-ionised ammonia nitrogen", "mg/L", 0, 1_000)]
ShareOrNone = Annotated[float, Quantity("share", "1", 0, 1, parts=True)]
OxygenSaturation = Annotated[float, Quantity("oxygen at saturation", "mg/L", 0, 60, above=True)]
Oxygen = Annotated[float, Quantity("oxygen", "mg/L", 0, 60)]
OxygenPercent = Annotated[float, Quantity("oxygen saturation", "%", 0, 1_000)]
Alkalinity = Annotated[float, Quantity("alkalinity", "mg/L CaCO3", 0, 5_000)]
# below zero where a drug has used up more than there was: mineral acid
AlkalinityLeft = Annotated[float, Quantity("alkalinity left", "mg/L CaCO3", -5_000, 20_000)]
BathAcidity = Annotated[float, Quantity("pH of the bath", "1", 0, 14)]
InorganicCarbon = Annotated[float, Quantity("dissolved inorganic carbon", "mmol/L", 0, 1_000)]
# what the constants come to between 0 and 40 C, a little more on each side
FirstExponent = Annotated[float, Quantity("pK1 of carbonic acid", "1", 6, 7)]
SecondExponent = Annotated[float, Quantity("pK2 of carbonic acid", "1", 10, 11)]
WaterExponent = Annotated[float, Quantity("pK of water", "1", 13, 15.5)]
CarbonDioxide = Annotated[float, Quantity("carbon dioxide", "mg/L", 0, 10_000)]
TricaineOrNone = Annotated[float, Quantity("tricaine", "mg/L", 0, 10_000)]
BicarbonateOrNone = Annotated[float, Quantity("sodium bicarbonate", "mg/L", 0, 10_000)]

# Fish, injections and feed.
FishCount = Annotated[float, Quantity("number of fish", "1", 0, 1e9, whole=True)]
MilligramsPerKilogram = Annotated[float, Quantity("dose by body weight", "mg/kg", 0, 10_000, above=True)]
LengthFactor = Annotated[float, Quantity("factor of length and weight", "1", 0, 10, above=True)]
LengthPower = Annotated[float, Quantity("power of length and weight", "1", 1, 5)]
ConditionFactor = Annotated[float, Quantity("condition factor", "1", 0, 1_000)]
StockingDensity = Annotated[float, Quantity("stocking density", "kg/m3", 0, 1_000)]
DailyDose = Annotated[float, Quantity("daily dose by body weight", "mg/kg/day", 0, 10_000, above=True)]
FeedDays = Annotated[float, Quantity("days of feeding", "days", 1, 365, whole=True)]
# fed fish get more than 0.1 % (common practice, no source); 2 % typed with its sign is the number 0.02 to a spreadsheet
Ration = Annotated[float, Quantity("ration in percent of body weight a day", "%", 0.1, 100, above=True)]
FeedPerDay = Annotated[float, Quantity("feed a day", "kg/day", 0, 1e8)]
Inclusion = Annotated[float, Quantity("product in feed", "g/kg", 0, 1_000, above=True)]

# Holding until release. Dates are day numbers as spreadsheets store them.
Date = Annotated[float, Quantity("date", "d", 1, 2_958_465, whole=True)]
HoldDays = Annotated[float, Quantity("days of withdrawal", "days", 0, 3_650, whole=True)]
DegreeDays = Annotated[float, Quantity("degree days", "degree days", 0, 100_000, above=True)]
DegreeDaysOrNone = Annotated[float, Quantity("degree days", "degree days", 0, 1e8)]
MeanTemperature = Annotated[float, Quantity("mean water temperature", "C", 0, 40, above=True)]
DailyTemperatures = Annotated[
    list[float], Series("daily mean temperatures", Quantity("daily mean temperature", "C", -10, 40))
]

# Sampling.
Population = Annotated[float, Quantity("fish in the population", "fish", 1, 1e9, whole=True)]
SampleNumber = Annotated[float, Quantity("fish sampled", "fish", 1, 1e9, whole=True)]
PositiveNumber = Annotated[float, Quantity("fish found positive", "fish", 0, 1e9, whole=True)]
Prevalence = Annotated[float, Quantity("prevalence", "1", 0, 1, above=True, parts=True)]
Confidence = Annotated[float, Quantity("confidence", "1", 0, 0.99999, above=True, parts=True)]
# a test that finds fewer than one in a hundred is none, and the exact count would take minutes
Sensitivity = Annotated[float, Quantity("sensitivity of the test", "1", 0.01, 1, parts=True)]
Probability = Annotated[float, Quantity("probability", "1", 0, 1)]
Proportion = Annotated[float, Quantity("proportion", "1", 0, 1)]

# Cleaning.
Chlorine = Annotated[float, Quantity("total chlorine", "mg/L", 0, 100_000, above=True)]

# Dimensions, counts and masses that the sheets ask for
Dimension = Annotated[float, Quantity("dimension", "as chosen", 0, 100_000, above=True)]
DimensionOrNone = Annotated[float, Quantity("dimension", "as chosen", 0, 100_000)]
FishGrams = Annotated[float, Quantity("fish mass", "g", 0, 1e6, above=True)]
# the unit of a treatment's dose is that of its route; the route's own function checks it again
AnyDose = Annotated[float, Quantity("dose", "in the unit of the route", 0, 100_000, above=True)]
WaitLength = Annotated[float, Quantity("days or degree days", "", 0, 10_000)]
DailyTemperature = Annotated[float, Quantity("daily mean temperature", "C", -10, 40)]
Magnification = Annotated[float, Quantity("magnification", "x", 1, 2_000)]
Fields = Annotated[float, Quantity("microscope fields", "fields", 1, 1_000, whole=True)]
ParasiteCount = Annotated[float, Quantity("number counted", "seen", 0, 1e6, whole=True)]
StoreAmount = Annotated[float, Quantity("amount of product", "g or mL", 0, 1e9)]
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
    TableResult("steps", (("step", ""), ("dose", "mg/L"), ("drug", "g"), ("buffer", "g"), ("total drug", "g"))),
]
