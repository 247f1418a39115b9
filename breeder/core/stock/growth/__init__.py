"""How a tub grows, and when a wanted surplus will be there. Forecasts only: births are never sold before a count."""

from .capacity import after_months, best_standing_stock, months_to_reach
from .growth_rate import Growth, Seen, default_growth, fitted_growth, life_table_growth
from .stage_matrix import (
    Vital,
    growth_rate,
    project,
    reproductive_value,
    stable_stages,
    stage_matrix,
    stay_and_leave,
    sustainable_share,
    sustainable_share_of,
)
from .surplus_date import Forecast, chance_reached, surplus_forecast

__all__ = [
    "Forecast",
    "Growth",
    "Seen",
    "Vital",
    "after_months",
    "best_standing_stock",
    "chance_reached",
    "default_growth",
    "fitted_growth",
    "growth_rate",
    "life_table_growth",
    "months_to_reach",
    "project",
    "reproductive_value",
    "stable_stages",
    "stage_matrix",
    "stay_and_leave",
    "surplus_forecast",
    "sustainable_share",
    "sustainable_share_of",
]
