"""Sagglab: from firing records and photographs to what the recipe did.

The public names are the list below and nothing else. Each is loaded when it is first used, so that
``import sagglab`` costs nothing that is not needed.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "book": ["Book", "open_book"],
        "colour": ["delta_e_2000", "lab_to_srgb", "xyz_to_lab"],
        "errors": ["Problem", "Problems", "SagglabError"],
        "firing.departures": ["Departures", "departures"],
        "firing.heat": ["HeatMeasures", "heat_measures"],
        "firing.long_record": ["firings_in"],
        "firing.pace": ["Pace", "pace"],
        "firing.readings": ["Readings", "read_readings"],
        "firing.record_place": ["firing_readings"],
        "firing.schedule": ["Schedule", "Segment", "read_schedule"],
        "measures.around": ["measure_around"],
        "measures.firings": ["all_readings", "measure_firings"],
        "measures.places": ["give_places", "places_of"],
        "measures.results": ["before_and_after", "gather_results"],
        "measures.views": ["measure_photos", "measure_targets", "measure_view"],
        "notes": ["ask_mapping", "book_tables", "propose_mapping", "read_mapping", "read_notes"],
        "model.checks": ["ModelChecks"],
        "model.colours": ["ColourEffects", "ColourPrediction", "fit_colour"],
        "model.dose": ["Doses", "compare_doses"],
        "model.effects": ["Effects", "fit_effects"],
        "model.losses": ["fit_losses"],
        "model.matched": ["Comparison", "compare"],
        "model.odds": ["Odds"],
        "model.outcomes": ["Outcomes", "fit_outcomes"],
        "model.predict": ["Prediction"],
        "model.ratings": ["fit_ratings"],
        "model.screening": ["screen_effects"],
        "model.wanted": ["Recipes"],
        "photo.around": ["Around", "join_maps"],
        "photo.measure": ["MeasuredPhoto", "measure_photo"],
        "photo.measuring": ["Measuring"],
        "photo.shares": ["read_shares"],
        "plan.adding": ["add_firings"],
        "plan.batch": ["Plan", "plan_batch"],
        "plan.factors": ["Factor"],
        "plan.kinds": ["Best"],
        "plan.limits": ["Limits"],
        "plan.power": ["FiringsNeeded", "firings_needed"],
        "plan.precision": ["Precision", "precision"],
        "plan.sheet": ["BenchSheet"],
        "plan.side_by_side": ["PlansCompared", "compare_plans"],
        "plan.standard": ["BoxBehnken", "CentralComposite", "Factorial", "Fraction", "Screening"],
        "handout.bench": ["write_bench_sheet"],
        "handout.class_pack": ["ClassPack"],
        "handout.handout": ["Handout"],
        "setups.comparison": ["SetupsCompared"],
        "setups.correction": ["Correction", "read_correction"],
        "setups.drift": ["Drift", "check_drift"],
        "setups.over_time": ["Changes", "changes_over_time"],
        "study.asking": ["askable"],
        "study.begun": ["BegunBook", "begin_book"],
        "study.handed_out": ["make_class_pack", "make_handout"],
        "study.two_setups": ["compare_setups"],
    },
)

del lazy_loader
