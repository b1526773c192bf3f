"""The whole way once, from a batch book to the written answer; the command and a notebook both go it.

Each part is loaded when it is first used, so that measuring needs nothing of what judges.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "answer": ["Study", "words"],
        "asking": ["askable", "judge"],
        "begun": ["BegunBook", "begin_book", "check_room_for_notes"],
        "files": ["write_study"],
        "handed_out": ["Asked", "ask_book", "make_class_pack", "make_handout"],
        "measured": ["MeasuredBook", "measure_book"],
        "own_notebooks": ["open_notebooks", "own_notebooks"],
        "planned": ["PlannedBatch", "plan_book"],
        "setup_files": ["write_setups"],
        "two_setups": ["StudiedSetups", "compare_setups", "study_setups"],
        "whole": ["study", "study_results"],
    },
)

del lazy_loader
