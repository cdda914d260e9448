"""What is believed before anything is measured: shares within a model, cars of each model, and the vehicle's scope."""

import numpy as np

from catalogue.observation import Vehicle
from catalogue.schema import UNKNOWN, BoolArray, Catalogue, Fitments, FloatArray, IntArray, folded, month_number


def fitment_weights(fitments: Fitments) -> FloatArray:
    """Return the prior weight of each fitment, (F,), with a sum of 1.

    Shares are normalised within a model; empty ones take equal parts of what the others leave. Models weigh as many
    cars as they have, one whose cars are not known as many as the mean of the others.
    """
    share = _shares(fitments.share, fitments.model, len(fitments.models))
    weight = share * _cars(fitments)[fitments.model]
    normalised: FloatArray = weight / weight.sum()
    return normalised


def _shares(share: FloatArray, model: IntArray, models: int) -> FloatArray:
    empty = np.isnan(share)
    stated = np.bincount(model, weights=np.where(empty, 0.0, share), minlength=models)
    empties = np.bincount(model, weights=empty, minlength=models)
    part = np.maximum(1 - stated, 0.0) / np.maximum(empties, 1)
    filled = np.where(empty, part[model], share)
    total = np.bincount(model, weights=filled, minlength=models)
    count = np.bincount(model, minlength=models)
    even = 1 / np.maximum(count, 1)
    return np.where(total[model] > 0, filled / np.where(total > 0, total, 1)[model], even[model])


def _cars(fitments: Fitments) -> FloatArray:
    """Return the cars of each model, (M,).

    The figure is the model's, repeated in its rows or standing in one of them; rows of one model that differ count
    their own cars each, and add up.
    """
    models, model, cars = len(fitments.models), fitments.model, fitments.cars
    known = np.isfinite(cars)
    if not known.any() or np.nansum(cars) == 0:
        return np.ones(models)
    most, least = np.full(models, -np.inf), np.full(models, np.inf)
    np.maximum.at(most, model[known], cars[known])
    np.minimum.at(least, model[known], cars[known])
    total = np.bincount(model[known], weights=cars[known], minlength=models)
    of_model = np.where(most == least, most, total)
    stated = np.isfinite(most)
    return np.where(stated, of_model, of_model[stated].mean())


def scope_of(catalogue: Catalogue, vehicle: Vehicle) -> tuple[BoolArray | None, str | None]:
    """Find the fitments that a vehicle leaves.

    Returns
    -------
    scope : (F,) ndarray of bool, or None for all
    empty : str or None
        Where nothing is left, which statement about the vehicle left nothing, in words.
    """
    scope: BoolArray | None = None
    for said, of_this in _tests(catalogue.fitments, vehicle):
        scope = of_this if scope is None else scope & of_this
        if not scope.any():
            return scope, said
    return scope, None


def _tests(fitments: Fitments, vehicle: Vehicle) -> list[tuple[str, BoolArray]]:
    """Return, widest first, what is said of the vehicle in words and the fitments that it holds for."""
    tests = []
    if vehicle.line is not None:
        of_line = np.isin(fitments.model_line, fitments.line_index.get(folded(vehicle.line), []))
        tests.append((f"no line {vehicle.line!r}", of_line[fitments.model]))
    if vehicle.model is not None:
        of_model = np.zeros(len(fitments.models), dtype=np.bool_)
        of_model[fitments.model_index.get(folded(vehicle.model), [])] = True
        tests.append((f"no model {vehicle.model!r} there", of_model[fitments.model]))
    if vehicle.year is not None:
        of_year = (fitments.year_from <= vehicle.year) & (vehicle.year <= fitments.year_to)
        tests.append((f"no fitment there of the year {vehicle.year}", of_year))
    if vehicle.built is not None:
        month = f"{vehicle.built // 12:04d}-{vehicle.built % 12 + 1:02d}"
        tests.append((f"no fitment there built in {month}", _built_in(fitments, vehicle.built)))
    return tests


def _built_in(fitments: Fitments, month: int) -> BoolArray:
    """Months where the row has them, else its years from January to December."""
    first = np.where(fitments.built_from == UNKNOWN, month_number(0, 1) + fitments.year_from * 12, fitments.built_from)
    last = np.where(fitments.built_to == UNKNOWN, fitments.year_to * 12 + 11, fitments.built_to)
    return np.asarray((first <= month) & (month <= last))
