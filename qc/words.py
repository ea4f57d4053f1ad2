"""Numbers as they are said to people: a true minus, no signed nought, one stop and two stops."""

from __future__ import annotations


def spoken_number(value: float, decimals: int, *, signed: bool = False) -> str:
    """Return a number with a true minus sign, and never "−0.0"."""
    text = f"{value:{'+' if signed else ''},.{decimals}f}".replace(",", " ")
    if float(text.replace(" ", "")) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def stop_word(value: float, decimals: int) -> str:
    """Return "stop" for what is said as one stop or a part of one, else "stops"."""
    return "stop" if 0 < abs(round(value, decimals)) <= 1 else "stops"


def spoken_stops(value: float, decimals: int = 1, *, signed: bool = False) -> str:
    """Return a number of stops with its unit: "0.3 stop", "−2.0 stops"."""
    return f"{spoken_number(value, decimals, signed=signed)} {stop_word(value, decimals)}"


def counted(count: int, noun: str) -> str:
    """Return a number of things: "1 frame", "12 frames", "no frames"."""
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"


def ordinal(number: int) -> str:
    """Return 1st, 2nd, 3rd, 4th, 11th, 21st."""
    teens = 10 < number % 100 < 20
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"
