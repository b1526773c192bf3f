"""The columns of the batch book's tables."""

from __future__ import annotations

from sagglab.columns.declared import Column

#: What a cell can say where few values are known.
STATES = ("whole", "cracked", "lost")
THERMOCOUPLES = ("K", "N", "S", "R")

BOOK_TABLES: dict[str, tuple[Column, ...]] = {
    "pots": (
        Column("pot", "text", "the pot's tag, unique in the book", required=True),
        Column("firing", "text", "the firing it went through", required=True),
        Column("clay", "text", "the clay body"),
        Column("height", "number", "height of the pot", unit="cm"),
        Column("diameter", "number", "widest diameter", unit="cm"),
        Column("place", "text", "where it stood in the kiln"),
        Column("rating", "number", "the maker's own, 1 to 5"),
        Column("state", "text", "whole, cracked or lost"),
        Column("plan", "text", "the plan that dealt it its recipe, where one did"),
        Column("notes", "text", "anything else"),
    ),
    "firings": (
        Column("firing", "text", "the firing's tag, unique in the book", required=True),
        Column("date", "date", "the day"),
        Column("day", "number", "which day of its plan, where one had several"),
        Column("kiln", "text", "the kiln"),
        Column("fuel", "text", "the fuel"),
        Column("wind", "text", "the wind on the day"),
        Column("target peak", "number", "the peak aimed at", unit="degC"),
        Column("schedule", "text", "the climb that was planned, as 900 degC/h to 600 degC, hold 5 min"),
        Column("readings", "text", "the file, or sheet of book.xlsx, of the temperature record"),
        Column("channel", "text", "the heading of its temperature column, where it has several"),
        Column("thermocouple", "text", "K, N, S or R, for a record in millivolts"),
        Column("cold junction", "number", "its temperature, for a record in millivolts", unit="degC"),
        Column("sensor class", "text", "tolerance class of the sensor: 1, 2, special, standard, or K 2"),
        Column("notes", "text", "anything else"),
    ),
    "photos": (
        Column("photo", "text", "the photograph's file", required=True),
        Column("pot", "text", "the pot shown; blank for a target or a plain sheet", required=True),
        Column("view", "text", "the side shown: front, back, or how far the pot was turned, as 120°"),
        Column(
            "after", "text", "what was done to the pot since it was unpacked, as wax; blank as it came out"
        ),
        Column("setup", "text", "camera, light and place", required=True),
        Column("taken", "date", "when it was taken"),
        Column("target corners", "text", "x y; x y; x y; x y of the corner patches, when found wrongly"),
        Column("pot outline", "text", "x y; x y; … or a mask picture, when found wrongly"),
    ),
    "setups": (
        Column("setup", "text", "the setup's name, unique in the book", required=True),
        Column("target", "text", "a table in the book or a built-in target", required=True),
        Column("flat", "text", "a photograph of an evenly lit plain sheet"),
    ),
}

#: Tables that a book may have as well; one that is not there is no fault.
OPTIONAL_TABLES: dict[str, tuple[Column, ...]] = {
    "shelf": (
        Column("material", "text", "a material, as the pots' headings name it", required=True),
        Column("in stock", "number", "how much of it is there", unit="g"),
        Column("spoon", "number", "what a level spoon of it weighed", unit="g"),
        Column("packet", "number", "what a packet holds", unit="g"),
        Column("price", "number", "what a packet cost, in the currency named beside it"),
        Column("currency", "text", "the currency of the prices, one for the whole shelf"),
        Column("notes", "text", "anything else"),
    ),
    "shares": (
        Column("share", "text", "what the share is called, as 'rust share'", required=True),
        Column("L* from", "number", "least lightness"),
        Column("L* to", "number", "lightness below which it ends"),
        Column("C*ab from", "number", "least chroma"),
        Column("C*ab to", "number", "chroma below which it ends"),
        Column("hue from", "number", "hue angle where it begins, degrees"),
        Column("hue to", "number", "hue angle where it ends, degrees; past 360 it goes on from 0"),
        Column("meaning", "text", "in a few words"),
    ),
}

#: What the table ``photos`` says of a photograph, and the tables of what was measured in it repeat.
OF_PHOTO = tuple(
    column
    for column in BOOK_TABLES["photos"]
    if column.name in ("photo", "pot", "view", "after", "setup", "taken")
)
