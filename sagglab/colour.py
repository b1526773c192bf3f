"""Colour: XYZ, CIELAB, LCh, the CIEDE2000 difference, and Lab as a display colour.

CIELAB here always means the 2° observer under D50, the viewing condition of ICC profiles and of the
reference values of colour targets. XYZ is scaled so that the white has Y = 1. All functions take arrays of
shape ``(..., 3)`` of floats and return the same shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: CIE 15, 2° observer, scaled to Y = 1.
WHITE_D50 = np.array([0.9642, 1.0, 0.8251])
WHITE_D65 = np.array([0.9504, 1.0, 1.0888])

#: The coordinates of CIELAB, as columns name them.
AXES = ("L*", "a*", "b*")

#: Linear sRGB to XYZ under D65, IEC 61966-2-1.
SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])

#: Cone responses after Bradford, as used in ICC practice.
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def _floats(values: ArrayLike) -> NDArray[np.float64]:
    # Integer picture data would need a scale that cannot be guessed; numbers are taken as they are.
    return np.asarray(values, dtype=float)


def adaptation(source_white: ArrayLike, destination_white: ArrayLike) -> NDArray[np.float64]:
    """Bradford chromatic adaptation between two whites.

    Returns
    -------
    ndarray, shape (3, 3)
        Matrix that takes XYZ seen under the source white to XYZ under the destination white.
    """
    gain = (BRADFORD @ _floats(destination_white)) / (BRADFORD @ _floats(source_white))
    return np.linalg.solve(BRADFORD, gain[:, None] * BRADFORD)


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = WHITE_D50) -> NDArray[np.float64]:
    """CIELAB from XYZ; keeps float32 as float32.

    Parameters
    ----------
    xyz : array_like, shape (..., 3)
        Tristimulus values on the scale of `white`.
    white : array_like, shape (3,)
        The white's tristimulus values; D50 with Y = 1 unless given.

    Returns
    -------
    ndarray, shape (..., 3)
        L*, a*, b*.

    References
    ----------
    CIE 15 and ISO/CIE 11664-4.

    Examples
    --------
    >>> xyz_to_lab([0.9642, 1.0, 0.8251]).round(6) + 0.0
    array([100.,   0.,   0.])
    """
    xyz = np.asarray(xyz)
    xyz = xyz if xyz.dtype == np.float32 else _floats(xyz)
    # Channel by channel: a picture whose channels lie apart stays in order, and nothing is copied.
    f = [_lightness_root(xyz[..., k] / xyz.dtype.type(of)) for k, of in enumerate(_floats(white))]
    lab = np.empty_like(xyz, order="C")
    lab[..., 0] = 116 * f[1] - 16
    lab[..., 1] = 500 * (f[0] - f[1])
    lab[..., 2] = 200 * (f[1] - f[2])
    return lab


def _lightness_root(ratio: NDArray[np.floating]) -> NDArray[np.floating]:
    """Cube root, and the straight line that CIELAB has in its place near black."""
    root, dark = np.cbrt(ratio), ratio <= (6 / 29) ** 3
    return np.where(dark, ratio * ((29 / 6) ** 2 / 3) + 4 / 29, root) if dark.any() else root


def lab_to_xyz(lab: ArrayLike, white: ArrayLike = WHITE_D50) -> NDArray[np.float64]:
    """XYZ from CIELAB, the inverse of `xyz_to_lab`.

    Examples
    --------
    >>> lab_to_xyz([100, 0, 0])
    array([0.9642, 1.    , 0.8251])
    """
    lab = _floats(lab)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * _floats(white)


def lab_to_lch(lab: ArrayLike) -> NDArray[np.float64]:
    """L*, C*ab and hue angle (degrees, 0 to 360) from L*, a*, b*.

    Examples
    --------
    >>> lab_to_lch([50, 0, 20])
    array([50., 20., 90.])
    """
    lab = _floats(lab)
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360
    return np.stack([lab[..., 0], chroma, hue], axis=-1)


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> NDArray[np.float64]:
    """CIEDE2000 colour difference.

    Parameters
    ----------
    lab_1, lab_2 : array_like, shape (..., 3)
        The two colours; shapes broadcast.

    Returns
    -------
    ndarray, shape (...)

    References
    ----------
    ISO/CIE 11664-6; scikit-image's `deltaE_ciede2000`, which does the computation.

    Examples
    --------
    >>> float(delta_e_2000([50, 2.6772, -79.7751], [50, 0, -82.7485]).round(4))
    2.0425
    """
    # Loaded here, since `import sagglab.colour` must stay cheap and most callers of it need no differences.
    from skimage.color import deltaE_ciede2000

    # Given arrays of different depth, scikit-image takes the rows of one for its channels, and says nothing.
    return deltaE_ciede2000(*np.broadcast_arrays(_floats(lab_1), _floats(lab_2)))


def srgb_to_linear(srgb: ArrayLike) -> NDArray[np.floating]:
    """Undo the sRGB transfer function (IEC 61966-2-1); keeps float32 as float32."""
    srgb = np.asarray(srgb)
    if not np.issubdtype(srgb.dtype, np.floating):
        srgb = srgb.astype(float)
    return np.where(srgb <= 0.04045, srgb / 12.92, ((np.maximum(srgb, 0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: ArrayLike) -> NDArray[np.floating]:
    """Apply the sRGB transfer function (IEC 61966-2-1); keeps float32 as float32."""
    linear = np.asarray(linear)
    if not np.issubdtype(linear.dtype, np.floating):
        linear = linear.astype(float)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)


def _linear_srgb_to_d50() -> NDArray[np.float64]:
    # The printed matrix sums to a white that is off CIE 15's D65 by up to a* 0.02; adapted from its own,
    # white stays neutral.
    return adaptation(SRGB_TO_XYZ.sum(axis=1), WHITE_D50) @ SRGB_TO_XYZ


def linear_to_xyz(linear: ArrayLike) -> NDArray[np.float64]:
    """XYZ under D50 (Bradford-adapted) from linear-light sRGB."""
    return _floats(linear) @ _linear_srgb_to_d50().T


def srgb_to_xyz(srgb: ArrayLike) -> NDArray[np.float64]:
    """XYZ under D50 (Bradford-adapted) from encoded sRGB values between 0 and 1.

    Examples
    --------
    >>> xyz_to_lab(srgb_to_xyz([1, 1, 1])).round(1) + 0.0
    array([100.,   0.,   0.])
    """
    return linear_to_xyz(srgb_to_linear(_floats(srgb)))


def lab_to_srgb(lab: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Lab as a colour for the display, and whether the display cannot show it.

    Parameters
    ----------
    lab : array_like, shape (..., 3)

    Returns
    -------
    srgb : ndarray, shape (..., 3)
        Encoded sRGB between 0 and 1, clipped where the colour lies outside.
    out_of_gamut : ndarray of bool, shape (...)
        True where clipping changed the colour by more than half an 8-bit step.

    Examples
    --------
    >>> srgb, outside = lab_to_srgb([[100, 0, 0], [50, 120, 0]])
    >>> outside.tolist()
    [False, True]
    """
    to_linear = np.linalg.inv(_linear_srgb_to_d50())
    encoded = linear_to_srgb(lab_to_xyz(lab) @ to_linear.T)
    srgb = np.clip(encoded, 0, 1)
    return srgb, np.abs(encoded - srgb).max(axis=-1) > 0.5 / 255


def as_hex(srgb: ArrayLike) -> str:
    """Write a colour of the display as ``#rrggbb``.

    Parameters
    ----------
    srgb : array_like, shape (3,)
        Encoded, between 0 and 1.

    Examples
    --------
    >>> as_hex([1, 0.5, 0])
    '#ff8000'
    """
    return "#" + "".join(f"{round(255 * float(channel)):02x}" for channel in np.asarray(srgb))
