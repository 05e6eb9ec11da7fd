"""Litres in a vessel: from its shape and dimensions, from salt, from filling it, less the fish in it."""

from __future__ import annotations

import math

from workbook_tools.functions.quantities import (
    Flow,
    Grams,
    GramsPerLitre,
    GramsPerLitreOrNone,
    Kilograms,
    Litres,
    Metres,
    MetresOrNone,
    Minutes,
    SquareMetres,
    checked,
    requires,
)


@checked
def rectangle(length: Metres, width: Metres, depth: Metres) -> Litres:
    """Water in a vessel with straight walls and a rectangular floor.

    Parameters
    ----------
    length : inside length. [m]
    width : inside width. [m]
    depth : depth of the water, not of the vessel. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : any dimension blank, not a number, not above 0 or above 10,000 m.

    Notes
    -----
    1000 * length * width * depth. Upright walls; take mean dimensions where the walls slope.

    Examples
    --------
    >>> rectangle(2, 0.5, 0.4)
    400.0

    References
    ----------
    Volume of a rectangular box; 1 m3 is 1000 L (SI).
    """
    return length * width * depth * 1000


@checked
def round(diameter: Metres, depth: Metres) -> Litres:
    """Water in a round tank with a flat floor.

    Parameters
    ----------
    diameter : inside diameter. [m]
    depth : depth of the water. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : any dimension blank, not a number, not above 0 or above 10,000 m.

    Notes
    -----
    1000 * pi / 4 * diameter^2 * depth.

    Examples
    --------
    >>> f"{round(7.5, 2):.0f}"
    '88357'

    References
    ----------
    Volume of a cylinder; 1 m3 is 1000 L (SI).
    """
    return math.pi / 4 * diameter**2 * depth * 1000


@checked
def oval(length: Metres, width: Metres, depth: Metres) -> Litres:
    """Water in an oval (elliptical) tank with a flat floor.

    Parameters
    ----------
    length : longest inside length. [m]
    width : widest inside width. [m]
    depth : depth of the water. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : any dimension blank, not a number, not above 0 or above 10,000 m.

    Notes
    -----
    1000 * pi / 4 * length * width * depth. A tank with straight sides and half-round ends is a `stadium`.

    Examples
    --------
    >>> f"{oval(2, 1, 0.5):.2f}"
    '785.40'

    References
    ----------
    Area of an ellipse; 1 m3 is 1000 L (SI).
    """
    return math.pi / 4 * length * width * depth * 1000


@checked
@requires("length >= width", "the overall length is less than the width")
def stadium(length: Metres, width: Metres, depth: Metres) -> Litres:
    """Water in a tank with straight sides and half-round ends.

    Parameters
    ----------
    length : overall inside length, ends included; not less than the width. [m]
    width : inside width. [m]
    depth : depth of the water. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : any dimension out of range, or the length less than the width.

    Notes
    -----
    1000 * ((length - width) * width + pi / 4 * width^2) * depth.

    Examples
    --------
    >>> f"{stadium(3, 1, 0.5):.2f}"
    '1392.70'

    References
    ----------
    A rectangle and a circle; 1 m3 is 1000 L (SI).
    """
    return ((length - width) * width + math.pi / 4 * width**2) * depth * 1000


@checked
@requires("side_depth + cone_depth > 0", "both depths are zero")
def cone(diameter: Metres, side_depth: MetresOrNone, cone_depth: MetresOrNone) -> Litres:
    """Water in a round tank with a conical floor: a cylinder over a cone.

    Parameters
    ----------
    diameter : inside diameter. [m]
    side_depth : depth of the water along the upright wall; 0 when it stands in the cone only, full to its rim. [m]
    cone_depth : depth of the cone below the wall. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : any dimension out of range, or both depths zero.

    Notes
    -----
    1000 * pi / 4 * diameter^2 * (side_depth + cone_depth / 3).

    Examples
    --------
    >>> f"{cone(1, 0.5, 0.3):.2f}"
    '471.24'

    References
    ----------
    Volumes of a cylinder and a cone; 1 m3 is 1000 L (SI).
    """
    return math.pi / 4 * diameter**2 * (side_depth + cone_depth / 3) * 1000


@checked
def area(area: SquareMetres, mean_depth: Metres) -> Litres:
    """Water in a pond.

    Parameters
    ----------
    area : surface of the water. [m2]
    mean_depth : mean of soundings over the whole pond. [m]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : area or depth blank, not a number or out of range.

    Notes
    -----
    1000 * area * mean_depth. As good as the mean depth: sound the pond on a grid.

    Examples
    --------
    >>> area(4000, 1.2)
    4800000.0

    References
    ----------
    1 m3 is 1000 L (SI).
    """
    return area * mean_depth * 1000


@checked
@requires("after > before", "the salinity did not rise")
def salt_test(salt: Grams, before: GramsPerLitreOrNone, after: GramsPerLitre) -> Litres:
    """Water in a vessel of any shape, from the rise in salinity when a known mass of salt is mixed in.

    Parameters
    ----------
    salt : mass of salt dissolved. [g]
    before : salinity before. [g/L]
    after : salinity after full mixing; more than before. [g/L]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : a value out of range, or the salinity did not rise.

    Notes
    -----
    salt / (after - before). Mixed, no inflow. As good as the salinity meter's last digit against the rise.

    Examples
    --------
    >>> salt_test(500, 0, 1.25)
    400.0

    References
    ----------
    Mass balance; common practice, no source.
    """
    return salt / (after - before)


@checked
def fill_test(flow: Flow, minutes: Minutes) -> Litres:
    """Water in a vessel from the time a known flow takes to fill it.

    Parameters
    ----------
    flow : inflow, measured with a bucket and a watch. [L/min]
    minutes : time from empty to the working level. [min]

    Returns
    -------
    Volume of water. [L]

    Raises
    ------
    ArgumentError : flow or time blank, not a number or out of range.

    Notes
    -----
    flow * minutes. Steady flow, outlet closed.

    Examples
    --------
    >>> fill_test(20, 15)
    300.0

    References
    ----------
    Volume is flow times time; common practice, no source.
    """
    return flow * minutes


@checked
@requires("fish < volume", "the fish would displace all the water")
def net(volume: Litres, fish: Kilograms) -> Litres:
    """Water left to dose when fish fill part of a vessel measured to its water line.

    Parameters
    ----------
    volume : water and fish together, up to the water line. [L]
    fish : mass of fish in it. [kg]

    Returns
    -------
    Volume of water alone. [L]

    Raises
    ------
    ArgumentError : a value out of range, or fish that would displace all the water.

    Notes
    -----
    volume - fish, at 1 L of water displaced by 1 kg of fish.

    Examples
    --------
    >>> net(400, 25)
    375.0

    References
    ----------
    Fish are nearly as dense as water: common practice, no source.
    """
    return volume - fish
