"""The plots of pages and reports: data in, SVG text out. No Django, no files, no clock."""

from itm.reports.plot_calibration import CalibrationCurve, calibration_plot
from itm.reports.plot_trend import TrendSeries, trend_plot
from itm.reports.plot_words import PlotWords

__all__ = ["CalibrationCurve", "PlotWords", "TrendSeries", "calibration_plot", "trend_plot"]
