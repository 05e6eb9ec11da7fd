"""Cleaning: taking chlorine out of water before fish meet it."""

from __future__ import annotations

from workbook_tools.functions.quantities import Chlorine, Grams, Litres, Ratio, checked


@checked
def thiosulfate(volume: Litres, chlorine: Chlorine, ratio: Ratio = 7) -> Grams:
    """Sodium thiosulfate pentahydrate that takes the chlorine out of a volume of water.

    Parameters
    ----------
    volume : water in the vessel. [L]
    chlorine : total chlorine, free and combined. [mg/L]
    ratio : grams of thiosulfate for a gram of chlorine; 7 is for the pentahydrate. [g/g]

    Returns
    -------
    Sodium thiosulfate to weigh. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    volume * chlorine * ratio / 1000. The 7 is two moles of sodium thiosulfate pentahydrate (248.18 g/mol) for one of
    chlorine, the reaction to tetrathionate; the anhydrous salt needs 4.46. Smaller ratios in print (3.5, 0.875) stand
    for reactions that go further and cannot be counted on. Chloramine leaves its ammonia behind. Test for chlorine
    before fish go in.

    Examples
    --------
    >>> thiosulfate(1000, 2)
    14.0

    References
    ----------
    Molar masses; rule of 7 to 1 for the pentahydrate.
    """
    return volume * chlorine * ratio / 1000
