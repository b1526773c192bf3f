"""What a mouse can do in a notebook: each widget has a plain function behind it, and a still view for paper.

They need the ``lab`` extra. Each is loaded when it is first used.
"""

import lazy_loader

from sagglab.errors import NotInstalledError

try:
    import anywidget as _anywidget
except ImportError as error:
    raise NotInstalledError(
        "sagglab.widgets",
        f"the notebook's part is not installed ({error})",
        "install it with pip install 'sagglab[lab]'",
    ) from error

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "book_check": ["BookCheck"],
        "firing_pacer": ["FiringPacer"],
        "photo_review": ["PhotoReview"],
        "recipe_picker": ["RecipePicker"],
    },
)

del lazy_loader, NotInstalledError, _anywidget
