"""Water quality: un-ionised ammonia, oxygen, carbon dioxide, salinity, density and the pressure of the air.

Salinity is practical salinity; the g/kg of a salt meter is taken for it (they differ by half a percent in sea water).
"""

from __future__ import annotations

from workbook_tools.functions.formulas.water.ammonia_shares import ammonia, ammonia_fraction, ammonia_fraction_total
from workbook_tools.functions.formulas.water.gases import co2, oxygen, oxygen_percent, pressure
from workbook_tools.functions.formulas.water.salts import density, salinity

# in the order of the catalogue
__all__ = [  # noqa: RUF022
    "ammonia_fraction",
    "ammonia_fraction_total",
    "ammonia",
    "oxygen",
    "oxygen_percent",
    "pressure",
    "co2",
    "salinity",
    "density",
]
