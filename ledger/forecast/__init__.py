"""What will sell: pure demand forecasting. Tables in, tables and sentences out; no clock, no database."""

from ledger.forecast.backtest import Backtest, FixedHistory, backtest
from ledger.forecast.calendar import USUAL_FEASTS, Feast, feasts_from
from ledger.forecast.designs import design_shares
from ledger.forecast.explain import explain
from ledger.forecast.forecast import Calibration, Forecast, calibrate, forecast
from ledger.forecast.history import DemandHistory
from ledger.forecast.reconcile import Override, apply_override
from ledger.forecast.scoring import score_table
from ledger.forecast.settings import Analogue, Beliefs, ForecastSettings, Window
from ledger.forecast.tables import settings_from_tables

__all__ = [
    "USUAL_FEASTS",
    "Analogue",
    "Backtest",
    "Beliefs",
    "Calibration",
    "DemandHistory",
    "Feast",
    "FixedHistory",
    "Forecast",
    "ForecastSettings",
    "Override",
    "Window",
    "apply_override",
    "backtest",
    "calibrate",
    "design_shares",
    "explain",
    "feasts_from",
    "forecast",
    "score_table",
    "settings_from_tables",
]
