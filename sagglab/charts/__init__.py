"""Charts: a table or a result in, Axes out; one look for all of them.

Pots are shown in their measured colour; all else in a palette that colour-blind readers can tell apart. Each
chart is loaded when it is first used, so that one of a firing needs nothing of what reads photographs.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "agreement": ["agreement_chart"],
        "alt": ["alt_text"],
        "arrows": ["arrow_chart"],
        "before_after": ["before_after_chart"],
        "colour_planes": ["colour_map"],
        "contact_sheet": ["write_contact_sheet"],
        "control": ["control_chart", "drift_chart"],
        "dose": ["dose_chart"],
        "effects": ["effect_chart"],
        "files": ["chart_png", "chart_svg", "draw_to_files", "save_chart"],
        "firings": ["firing_curve", "firing_curves"],
        "half_normal": ["half_normal_chart"],
        "likeness": ["likeness_chart"],
        "over_time": ["over_time_chart"],
        "pots": ["pot_swatches"],
        "power": ["power_chart"],
        "profile": ["height_profile_chart"],
        "ribbons": ["palette_ribbons"],
        "schedules": ["schedule_chart"],
        "strips": ["outcome_strips"],
        "surface": ["surface_chart"],
        "target_layout": ["target_layout_chart"],
        "review": ["review_picture", "reviews_in"],
    },
)

del lazy_loader
