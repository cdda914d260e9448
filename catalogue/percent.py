"""Probabilities as people read them."""


def percent(probability: float) -> str:
    """Return a probability in per cent that never rounds to certain or impossible."""
    if probability > 0.999:
        return "over 99.9%"
    if 0 < probability < 0.001:
        return "under 0.1%"
    return f"{probability:.1%}" if probability > 0.99 or 0 < probability < 0.01 else f"{probability:.0%}"
