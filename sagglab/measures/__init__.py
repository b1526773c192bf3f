"""Measures: photographs to colour, firings to heat, and both joined with the recipes into results.

Each part is loaded when it is first used.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "around": ["measure_around", "turn_of"],
        "firings": ["all_readings", "check_files", "measure_firings"],
        "results": ["before_and_after", "gather_results", "result_columns"],
        "views": ["measure_photos", "measure_targets", "measure_view"],
    },
)

del lazy_loader
