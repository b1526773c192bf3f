"""Photographs: decoded, the colour target found, colour calibrated, the pot outlined, its surface measured.

Pictures are arrays of shape ``(rows, columns, 3)``. A place in a picture is ``(x, y)``: x to the right, y
down, after EXIF orientation; whole numbers are pixel centres, so the first pixel covers −0.5 to 0.5.
"""
