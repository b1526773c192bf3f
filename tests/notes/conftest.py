"""Invented notes of very different people, and what a careful reader would make of each of their columns."""

import datetime as dt
import re
from dataclasses import replace

import pytest
from openpyxl import Workbook

from sagglab.delimited import number


def rows_of(written):
    """Cut a block of text into rows and cells; a full stop is a blank row, an indented line goes on."""
    lines = re.sub(r"\n  ", "|", written.strip()).splitlines()
    return [[cell.strip() for cell in line.split("|")] if line.strip() != "." else [] for line in lines]


def cell_of(text):
    """Type a cell as a spreadsheet does."""
    if len(text) == 10 and text[4] == text[7] == "-":
        return dt.datetime.fromisoformat(text)
    return None if text == "" else text if number(text) != number(text) else number(text)


def workbook(**sheets):
    """Save sheets, each as a block of text and the cells that are merged in it."""

    def save(folder):
        book = Workbook()
        book.remove(book.active)
        for name, (written, *merged) in sheets.items():
            sheet = book.create_sheet(name)
            for place, row in enumerate(rows_of(written), start=1):
                for column, text in enumerate(row, start=1):
                    sheet.cell(place, column, cell_of(text))
            for cells in merged:
                sheet.merge_cells(cells)
        book.save(folder / "notes.xlsx")
        return folder / "notes.xlsx"

    return save


def text(written, delimiter=",", encoding="utf-8"):
    def save(folder):
        quoted = ([f'"{cell}"' if delimiter in cell else cell for cell in row] for row in rows_of(written))
        content = "\n".join(delimiter.join(row) for row in quoted)
        (folder / "notes.csv").write_bytes(content.encode(encoding))
        return folder / "notes.csv"

    return save


# The first four were written before any of the rules, all others before the rules had seen them.
NOTES = {
    # A title, ounces and spoons, °F, and a total below.
    "from the States": workbook(
        Log=[
            """
My saggar log 2025
.
Pot #|Firing date|Clay body|Sugar (g)|FeCl3 coats|Copper sulfate|Table salt|Top temp F|Kiln
  Where in kiln|H cm|Ø|Pic file|Color result|Notes/comments
1|2025-04-12|white stoneware|4g|2|1/2 tsp|1 1/2 oz|1350|little propane|back left|11.5|8 cm
  IMG_2031.JPG|orange|nice blush
2|2025-04-12|white stoneware|2g|1|1 tsp|½ oz|1350|little propane|front|10|9 cm
  IMG_2032.JPG, IMG_2033.JPG|grey
3|2025-05-03|porcelain||3|||1290|little propane|back left|12|8.5 cm|IMG_2040.JPG|deep red|hairline crack
.
Total|||6|6
"""
        ]
    ),
    # Semicolons, decimal commas, full stops in dates.
    "from Germany": text(
        """
Nr.|Brand|Datum|Ton|Zucker (g)|Eisenchlorid Schichten|Sägemehl|Seetang|Kupferdraht cm|Höhe cm
  Durchm. cm|Höchsttemp. °C|Ofen|Brennstoff|Platz|Foto|Bemerkungen
1|B1|12.04.2025|weiß|2,5|2|30 g|ja|60|11,5|8|745|Gasofen|Propan|unten links|k1.jpg|schön dunkel
2|B1|12.04.2025|weiß|0|1|25 g|nein||10|9,5|745|Gasofen|Propan|unten rechts|k2.jpg|
3|B2|03.05.2025|schamottiert|4|2|30 g|ja|40|12|8|760|Gasofen|Propan|oben|k3.jpg|Riss
""",
        ";",
        "latin-1",
    ),
    # Tabs, and the units on a second line of headings.
    "from France": text(
        """
Pièce|Cuisson|Date|Terre|Sucre|Sulfate de cuivre|Chlorure de fer|Sciure|Hauteur|Diamètre
  Température max|Emplacement|Résultat|Photo|Remarques
||||g|g|couches|g|cm|cm|°C||||
A1|C1|14/06/2025|grès blanc|3|1,5|2|30|11|8|750|bas|brun|a1.jpg|jolie trace
A2|C1|14/06/2025|grès blanc||3|1|30|10|9|750|haut|gris|a2.jpg|
A3|C2|28/06/2025|porcelaine|6||2|20|12|8|720|bas|rouge|a3.jpg|fêlure
""",
        "\t",
    ),
    # Firings merged over their pots, ticks, and no unit anywhere.
    "with ticks": workbook(
        Sheet1=[
            """
Firing|Weather|Pot|Slip|Ferric|Sugar|Salt|Seaweed|Copper wire|Horse hair|Peak|Rating|Cracked?|Photos
  Comments
F1|calm|a|2|2|4|1|x|yes||1380|4||a front.jpg|lovely
||b|2|1|2|1||no|x||3|x|b front.jpg|
||c|2|0|0|0|x|yes|||2||c front.jpg|too pale
F2|windy|d|1|2|4|1||yes|x|1340|5||d front.jpg|
||e|1|1|0|2|x|no|||4||e front.jpg|
""",
            *("A2:A4", "B2:B4", "K2:K4", "A5:A6", "B5:B6", "K5:K6"),
        ]
    ),
    # Measured with the kitchen's spoons; no firing but by its date; two photographs of each pot.
    "from the kitchen": workbook(
        Pots=[
            """
Tag|Date Fired|Clay|Terra Sig|Ferric (coats)|Sugar (tsp)|Kosher salt|Banana peels|Steel wool
  Max Temp (F)|Propane (lb)|Front pic|Back pic|Score out of 10|What I'd change
K-1|April 12, 2025|B-clay|2 coats|2|2|1 tbsp|2|x|1340|6|k1f.jpg|k1b.jpg|7|less salt
K-2|April 12, 2025|B-clay|2 coats|1|1 1/2|1 tsp|1|x|1340|6|k2f.jpg|k2b.jpg|9|
K-3|May 3, 2025|B-clay|1 coat|3|a pinch|||x|1310|5.5|k3f.jpg|k3b.jpg|4|more of everything
"""
        ]
    ),
    "from Spain": text(
        """
Pieza|Hornada|Fecha|Barro|Azúcar (g)|Sulfato de cobre (g)|Cloruro férrico (capas)|Serrín (g)
  Altura (cm)|Diámetro (cm)|Temperatura máxima (°C)|Horno|Lugar|Color|Notas
1|H1|20/03/2025|blanco|4|1,5|2|30|11,2|8|740|gas|abajo|marrón|bonita
2|H1|20/03/2025|rojo|2||1|30|10|9|740|gas|arriba|gris|
3|H2|27/03/2025|blanco||3|2|25|12|8|715|gas|abajo|naranja|grieta
""",
        ";",
    ),
    # Not much, and neither pots nor firings are named.
    "of three columns": text(
        """
Sugar g|Ferric coats|Result
4|2|dark brown
2|1|grey, some orange
0|2|pale
"""
    ),
    # Groups of headings, dates of either order, a kiln that differs within a firing, names given twice.
    "with contradictions": workbook(
        Saggars=[
            """
|||Dusted on||Size|||
Pot|Firing|Date|Sugar (g)|Salt (g)|Height (in)|Width (in)|Kiln|Condition
1|1|03/04/2025|4|1|4 1/2|3|big|ok
2|1|03/04/2025|2|1|4|3 1/4|small|cracked
3|1|03/04/2025||-|5|3|big|ok
1|2|05/04/2025|4|2|4 ½|3|small|lost
2|2|05/04/2025|~3|none|4|3|small|ok
""",
            *("D1:E1", "F1:G1"),
        ]
    ),
    "from the Netherlands": text(
        """
Nummer|Stook|Stookdatum|Klei|Suiker (g)|Zout (g)|IJzerchloride (lagen)|Zaagsel (g)|Zeewier
  Hoogte (cm)|Doorsnede (cm)|Max. temperatuur (°C)|Plek|Foto's|Opmerkingen
1|S1|1-2-2025|wit|4|1|2|30|ja|11,5|8|750|links|s1.jpg; s2.jpg|mooi
2|S1|1-2-2025|wit|2|0|1|30|nee|10|9|750|rechts|s3.jpg|
3|S2|15-2-2025|bruin|0|2|2|20|ja|12|8|735|links|s4.jpg|barst
""",
        ";",
    ),
    # A diary more than a table.
    "in words": text(
        """
Piece|What went in|How it came out
tall bottle|two coats of iron, a handful of sugar, seaweed all around|black at the foot, orange above
small bowl|one coat, no sugar, sawdust|dull grey
round jar|three coats, 5 g sugar, copper|red!
"""
    ),
    # Thousands with commas, and everything in the units of the hardware store.
    "from a workshop": text(
        """
ID|Kiln load|Fired on|Body|Slip (coats)|Copper carb (oz)|Epsom salts (oz)|Sawdust (lb)|Peak (°F)
  Soak (min)|Ht (in)|Diam (in)|Stars|Filename|Misc
W1|L1|5/17/2025|stoneware|1|0.25|0.5|1/4|1,320|10|4.5|3|★★★|C:\\pics\\w1.jpg|ok
W2|L1|5/17/2025|stoneware|1|0.5||1/4|1,320|10|4|3.5|★★★★★|C:\\pics\\w2.jpg|wow
W3|L2|5/24/2025|porcelain|2|||1/2|1,290|5|5|3|★|C:\\pics\\w3.jpg|
"""
    ),
    # An evening class: a tidy table, with odd names.
    "from a class": workbook(
        Class=[
            """
Pot no.|Made by|Kiln load|Date of firing|Body|No. of coats sig|FeCl coats|CuSO4 g|Sugar (g/pot)|Hay
  Horsehair|Pine needles|Top temp (deg C)|Wind|Came out|Star rating|Image files|Remarks|Height (mm)
  Max dia. (mm)
1|Ann|1|2025-06-01|white|2|1|1.5|4|yes|no|handful|755|breezy|brown|4|DSC_0101|smooth|112|80
2|Ben|1|2025-06-01|white|2|2|0|2|no|yes|none|755|breezy|grey|2|DSC_0102||98|91
3|Cy|2|2025-06-08|buff|1|2|3|0|yes|yes|two handfuls|730|calm|red|5|DSC_0110|my best|120|77
"""
        ]
    ),
    "from Italy": text(
        """
N. pezzo|Infornata|Data cottura|Argilla|Zucchero (g)|Sale (g)|Solfato di rame (g)
  Cloruro ferrico (mani)|Segatura (g)|Altezza cm|Temp. massima °C|Forno|Risultato|Foto
  Osservazioni
1|I1|12/5/2025|bianca|4|1|2|2|30|11|745|gas|bruno|IMG_1.jpg|bella
2|I1|12/5/2025|bianca|2|0|1|1|30|10|745|gas|grigio|IMG_2.jpg|
3|I2|19/5/2025|rossa|0|2|3|2|20|12|730|gas|rosso|IMG_3.jpg|crepa
""",
        ";",
    ),
    # Headings that say more than they need to.
    "with long headings": text(
        """
Ref|Kiln firing|Firing date|Clay used|Layers of slip|Ferric chloride (no. of coats)
  Sugar (grams)|Copper sulphate crystals (g)|Seaweed?|Sawdust - g|Wire (copper) cm
  Height of pot (cm)|Diameter at widest (cm)|Position in kiln|Highest temp reached C|Wind?
  Rating (1-5)|Colour notes|Photo no.
a1|K3|3 May 2025|smooth|2|1|4|1|Y|30|50|11|8|top|740|light|4|brown all over|DSC_0001.jpg
a2|K3|3 May 2025|smooth|2|2|2|0|N|30||12|8|low|740|light|3|grey|DSC_0002.jpg
a3|K4|10 May 2025|crank|1|2|0|2|Y|20|40|9|9|top|725|none|5|orange|DSC_0003.jpg
"""
    ),
}

#: Where each column goes, in the order of the columns; a question mark is what only the maker can say.
MEANT = {
    "from the States": """
pots: pot|firings: date|pots: clay|pots: sugar [g]|pots: ferric chloride [coats]|pots: copper sulphate [?]
pots: table salt [oz]|firings: noted peak [degF]|firings: kiln|pots: place|pots: height [cm]
pots: diameter [cm]|photos: photo|pots: Color result|pots: notes""",
    "from Germany": """
pots: pot|pots: firing|firings: date|pots: clay|pots: sugar [g]|pots: ferric chloride [coats]
pots: sawdust [g]|pots: seaweed|pots: copper wire [cm]|pots: height [cm]|pots: diameter [cm]
firings: noted peak [degC]|firings: kiln|firings: fuel|pots: place|photos: photo|pots: notes""",
    "from France": """
pots: pot|pots: firing|firings: date|pots: clay|pots: sugar [g]|pots: copper sulphate [g]
pots: ferric chloride [coats]|pots: sawdust [g]|pots: height [cm]|pots: diameter [cm]
firings: noted peak [degC]|pots: place|pots: Résultat|photos: photo|pots: notes""",
    "with ticks": """
pots: firing|firings: weather|pots: pot|pots: slip [?]|pots: ferric chloride [?]|pots: sugar [?]
pots: table salt [?]|pots: seaweed|pots: copper wire|pots: hair|firings: noted peak [?]|pots: rating
pots: state|photos: photo|pots: notes""",
    "from the kitchen": """
pots: pot|firings: date|pots: clay|pots: slip [coats]|pots: ferric chloride [coats]|pots: sugar [?]
pots: table salt [?]|pots: banana peel [?]|pots: iron wire|firings: noted peak [degF]|firings: Propane [lb]
photos: photo|photos: photo|pots: Score out of 10|pots: What I'd change""",
    "from Spain": """
pots: pot|pots: firing|firings: date|pots: clay|pots: sugar [g]|pots: copper sulphate [g]
pots: ferric chloride [coats]|pots: sawdust [g]|pots: height [cm]|pots: diameter [cm]
firings: noted peak [degC]|firings: kiln|pots: place|pots: Color|pots: notes""",
    "of three columns": "pots: sugar [g]|pots: ferric chloride [coats]|pots: Result",
    "with contradictions": """
pots: pot|pots: firing|firings: date|pots: sugar [g]|pots: table salt [g]|pots: height [in]
pots: diameter [in]|pots: kiln|pots: state""",
    "from the Netherlands": """
pots: pot|pots: firing|firings: date|pots: clay|pots: sugar [g]|pots: table salt [g]
pots: ferric chloride [coats]|pots: sawdust [g]|pots: seaweed|pots: height [cm]|pots: diameter [cm]
firings: noted peak [degC]|pots: place|photos: photo|pots: notes""",
    "in words": "pots: pot|pots: What went in|pots: How it came out",
    "from a workshop": """
pots: pot|pots: firing|firings: date|pots: clay|pots: slip [coats]|pots: copper carbonate [oz]
pots: magnesium sulphate [oz]|pots: sawdust [lb]|firings: noted peak [degF]|firings: soak [min]
pots: height [in]|pots: diameter [in]|pots: rating|photos: photo|pots: notes""",
    "from a class": """
pots: pot|pots: Made by|pots: firing|firings: date|pots: clay|pots: slip [coats]
pots: ferric chloride [coats]|pots: copper sulphate [g]|pots: sugar [g]|pots: straw|pots: hair
pots: pine needles (as noted)|firings: noted peak [degC]|firings: wind|pots: Came out|pots: rating
photos: photo|pots: notes|pots: height [mm]|pots: diameter [mm]""",
    "from Italy": """
pots: pot|pots: firing|firings: date|pots: clay|pots: sugar [g]|pots: table salt [g]
pots: copper sulphate [g]|pots: ferric chloride [coats]|pots: sawdust [g]|pots: height [cm]
firings: noted peak [degC]|firings: kiln|pots: Risultato|photos: photo|pots: notes""",
    "with long headings": """
pots: pot|pots: firing|firings: date|pots: clay|pots: slip [coats]|pots: ferric chloride [coats]
pots: sugar [g]|pots: copper sulphate [g]|pots: seaweed|pots: sawdust [g]|pots: copper wire [cm]
pots: height [cm]|pots: diameter [cm]|pots: place|firings: noted peak [degC]|firings: wind
pots: rating|pots: Colour notes|photos: photo""",
}


#: What the maker says to what is open.
SAID = {
    "from the States": {"F": {"to": "pots: copper sulphate [g]", "spoon_g": 5.9}},
    "with ticks": {
        "D": {"to": "pots: slip [coats]"},
        "E": {"to": "pots: ferric chloride [coats]"},
        "F": {"to": "pots: sugar [g]"},
        "G": {"to": "pots: table salt [g]"},
        "K": {"to": "firings: noted peak [degF]"},
    },
    "from the kitchen": {
        "F": {"to": "pots: sugar [g]", "spoon_g": 4},
        "G": {"to": "pots: table salt [tsp]"},
        "H": {"to": "pots: banana peel [count]"},
    },
    "with contradictions": {"C": {"cells": "day first"}},
}


@pytest.fixture(params=NOTES)
def person(request):
    """Whose notes these are."""
    return request.param


@pytest.fixture
def noted(tmp_path):
    """Save the notes of one of these people, and give their path."""

    def save(name):
        return NOTES[name](tmp_path)

    return save


@pytest.fixture
def answered():
    """Answer what a mapping leaves open as the maker of the notes would."""

    def answer(name, mapping):
        for letter, changed in SAID.get(name, {}).items():
            mapping = mapping.with_column(letter, **changed)
        return replace(mapping, firings="one") if mapping.firings == "?" else mapping

    return answer


@pytest.fixture
def meant():
    """Say where each column of somebody's notes goes."""
    return {name: goals.strip().replace("\n", "|").split("|") for name, goals in MEANT.items()}
