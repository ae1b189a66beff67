"""Invented shops written before the guessing saw them: how often it is right where nobody tuned it.

The truth is what a careful reader of all a shop's paths could say: the full name where any path writes it, the short
one where none does, and nothing where none names the artist. Every name is invented.
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import replace

from scripts.names_kinds import SIZES, Shop, Truth, Work, joined, surname

INCHES = ("16x20", "12x16", "8x10", "20x30", "11x14")
Whose = dict[str, tuple[str, ...]]  # the start of a title: its artists, or nobody known


def _settled(w: Work, whose: Whose) -> Iterator[Work]:
    """A series is of one artist, a common title of two, and some pieces are of nobody known."""
    for start, artists in whose.items():
        if w.title.startswith(start):
            yield from (replace(w, artist=artist) for artist in artists)
            return
    yield w


def _master(path: str, w: Work) -> Truth:
    return Truth(path, w.artist, w.title, "master", width=14200, height=11000)


def _tile(path: str, w: Work) -> Truth:
    return Truth(path, w.artist, w.title, "tile", width=8200, height=6100)


def _print(path: str, w: Work) -> Truth:
    return Truth(path, w.artist, w.title, "print file", width=7200, height=5400)


def _photo(path: str, w: Work, width: int = 1500, height: int = 1150) -> Truth:
    return Truth(path, w.artist, w.title, "reference", "JPEG", width, height)


def _phone(path: str, w: Work) -> Truth:
    return _photo(path, w, 4032, 3024)


def _slug(title: str) -> str:
    """As a web address has it: no case, no accents, no signs."""
    plain = unicodedata.normalize("NFKD", title.lower()).replace("'", "")
    kept = "".join(c if c.isalnum() else " " for c in plain if not unicodedata.combining(c))
    return "-".join(kept.split())


def _short(name: str) -> str:
    first, _, rest = name.rpartition(" ")
    return f"{first[0]}. {rest}" if first else name


def _turned(name: str, sign: str = ", ") -> str:
    first, _, rest = name.rpartition(" ")
    return f"{rest}{sign}{first}" if first else name


# -- English: a habit a year -------------------------------------------------------------------------------------------

HARROWGATE, THISTLEBOURNE = "Margaret Harrowgate", "Cordelia Thistlebourne"
DILYS, OWEN = "Dilys Penhallam", "Owen Penhallam"
YEARS_ARTISTS = (
    HARROWGATE,
    DILYS,
    THISTLEBOURNE,
    "Rufus Aldermoor",
    OWEN,
    "Imogen Dray-Holloway",
    "P. Quillfeather",  # never written in full
    "Wexcombe",  # never with a first name
)
YEARS_TITLES = (
    "Tidal Study I",
    "Tidal Study II",
    "Tidal Study III",
    "Allotment No. 4",
    "Allotment No. 5",
    "Self Portrait",
    "Bluebell Wood",
    "Grandad's Shed",
    "1987",
    "The A30 at Dusk",
    "Print Me a River",
    "Burden of Proof",
    "Copycat",
    "Cobweb, Early",
    "Raw Umber Field",
    "Final Whistle",
    "Master of Hounds",
    "The Broken Tile",
    "Devil in the Detail",
    "St. Anne's Steps",
    "Bread, Salt & Wine",
    "Heron (Standing)",
    "Heron (Flying)",
    "Esplanade",
    "Wintering Geese",
    "Dungarees",
    "Above the Weir",
    "Mrs Pym's Garden",
    "Crop Circle",
    "Shingle",
    "Kittiwakes",
    "Saturday, Late",
    "Pantry Shelf",
    "Small Blue Jug",
    "Groyne",
    "Seven Sheep",
    "Version of Events",
    "Hawthorn",
    "Client's Dog",
    "Slack Water",
    "Limekiln",
    "Otter, Night",
    "The Ropewalk",
    "Proofing Bread",
    "Number 17",
    "Number 19",
)
YEARS_WHOSE: Whose = {
    "Tidal Study": (HARROWGATE,),
    "Allotment": (DILYS,),
    "Heron": ("Rufus Aldermoor",),
    "Self Portrait": (THISTLEBOURNE, OWEN),
    "Bluebell Wood": ("",),
    "Grandad's Shed": ("",),
}
SLIPS = {"Harrowgate": "Harowgate", "Thistlebourne": "Thistleborne", "Aldermoor": "Aldermore"}


def _years(shop: Shop, found: Work) -> Iterator[Truth]:
    for w in _settled(found, YEARS_WHOSE):
        yield from _english_year(shop, w)


def _english_year(shop: Shop, w: Work) -> Iterator[Truth]:
    r, who, title = shop.dice, w.artist, w.title
    family = _short(who) if who in (DILYS, OWEN) else surname(who) if who else ""
    if not who:
        yield _master(f"new/{title}.tif", w)
        yield _phone(f"new/{title} phone pic.jpg", w)
    elif w.year == 2018:  # 2018/M. Harrowgate/low tide FINAL
        base = f"2018/{_short(who) if r.random() < 0.5 else _turned(_short(who), ' ').rstrip('.')}/{title.lower()}"
        yield _master(f"{base}{r.choice(('', ' scan', ' FINAL', ' FINAL2'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base} raw{i + 1}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base} {INCHES[i]} {r.choice(('matte', 'lustre', 'canvas'))}.tif", w)
    elif w.year == 2019:  # an initials folder, prints by surname, now and then misspelt
        marks = "".join(part[0] for part in who.split()) if " " in who else who
        yield _master(f"Scans/{marks}/{title} {r.choice(('v2', 'v3', 'edit', 'edit v2'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"Scans/{marks}/bits/{title} {i + 1}.tif", w)
        for i in range(max(1, w.prints)):
            label = SLIPS.get(family, family) if r.random() < 0.4 else family
            yield _print(f"PRINTS 2019/{label} - {title} - {('A2', 'A3')[i]} cotton rag.tif", w)
    elif w.year == 2020:  # Artists/Harrowgate, Margaret/Low Tide/…
        base = f"Artists/{_turned(who)}/{title}"
        yield _master(f"{base}/{title} FINAL{' FINAL' if r.random() < 0.3 else ''}.tif", w)
        if w.rescan:
            yield _master(f"{base}/{title} crop.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/captures/capture_{i + 1:04d}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/{SIZES[i]}cm textured, edition of 25.tif", w)
        if w.web:
            yield _photo(f"{base}/{_slug(title)}-web.jpg", w)
        if w.detail:
            yield _photo(f"{base}/detail 1.jpg", w, 2200, 1600)
    elif w.year == 2021:  # dated jobs
        base = f"Jobs/21{r.randrange(1, 13):02d}{r.randrange(1, 29):02d} {who if r.random() < 0.3 else family} {title}"
        low = joined(title.lower(), "_")
        yield _master(f"{base}/{low}_edit.tif", w)
        if w.rescan:
            yield _master(f"{base}/{low}_edit_crop_v3.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/raw/{low}_{('tl', 'tr', 'bl', 'br')[i]}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/{low}_{INCHES[i]}_{('proof', 'print')[i]}.tif", w)
        if w.web or w.detail:
            yield _photo(f"{base}/{low}_for_client.jpg", w, 2400, 1850)
    else:  # months, and everything in the name
        base = f"2022/{r.choice(('03 March', '06 June', '11 November'))}/{who} - {title}"
        yield _master(f"{base} - master.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base} - pass {i + 1} of {w.tiles}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base} - A{i + 1} baryta (40mm border).tif", w)
        if w.web:
            yield _photo(f"{base} - for client.jpg", w, 2400, 1850)


# -- Swiss German ------------------------------------------------------------------------------------------------------

AMBUEHLEN, STOECKENRIED = "Regula Ambühlen", "Beat Stöckenried"
SWISS_ARTISTS = (
    AMBUEHLEN,
    STOECKENRIED,
    "Vreni Hagenmattler",
    "Jörg Tannwilen",
    "K. Oberfluhrer",
    "Annelies Frohnacker",
)
SWISS_TITLES = (
    "Gletscher I",
    "Gletscher II",
    "Gletscher III",
    "Ohne Titel 7",
    "Ohne Titel 8",
    "Variation Nr. 4",
    "Variation Nr. 5",
    "1991",
    "Der Abdruck",
    "Generalprobe",
    "Das Detail",
    "Kopie eines Traums",
    "Rohbau",
    "Die letzte Kachel",
    "Meister Petz",
    "Im Netz",
    "Endstation",
    "Vorschau auf den Frühling",
    "Ein Teil vom Ganzen",
    "Wer's glaubt",
    "Brot, Milch, Honig",
    "Stillleben mit Quitten",
    "Talboden (Föhn)",
    "Talboden (Schnee)",
    "Nebel über dem Moos",
    "Grüner Hügel",
    "Südwand",
    "Holzbeige",
    "Znüni",
    "Seilbahn",
    "Frau mit Schirm",
    "Bergdohlen",
    "Das grosse Fass",
    "Heuschober",
    "Nachtzug",
    "Scherenschnitt",
    "Unterwegs",
    "Murgang",
    "Drei Krähen",
    "Kleiner Markt",
    "Probelauf",
    "Spinnfaden",
    "Hof 3",
    "Hof 4",
    "Letzter Schnee",
)
SWISS_WHOSE: Whose = {
    "Gletscher": (STOECKENRIED,),
    "Ohne Titel": ("Vreni Hagenmattler",),
    "Variation": ("K. Oberfluhrer",),
    "Talboden": (AMBUEHLEN,),
    "Seilbahn": ("",),
    "Unterwegs": ("",),
}
UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


def _swiss(shop: Shop, found: Work) -> Iterator[Truth]:
    """Archiv by year, then a folder an artist, then dated orders without umlauts."""
    r = shop.dice
    w = next(_settled(found, SWISS_WHOSE))
    who, title = w.artist, w.title
    if not who:
        yield _master(f"neu/{title}.tif", w)
        yield _print(f"neu/{title} 30x40 Hadern.tif", w)
    elif w.year <= 2019:
        folder = f"Archiv/{w.year}/{_turned(who, ' ') if r.random() < 0.6 else f'{surname(who)} {who[0]}'}"
        base = f"{folder}/{title}"
        yield _master(f"{base}_Scan_1200dpi.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}_T{i + 1}.tif", w)
        for i in range(w.prints):
            yield _print(f"{folder}/Drucke/{title} {SIZES[i]} Bütten.tif", w)
        if w.web:
            yield _photo(f"{base}_web.jpg", w)
    elif w.year == 2020:
        kind = r.choice((" (Öl auf Leinwand)", " (Aquarell)", "", ""))
        base = f"Künstlerinnen und Künstler/{who}/{title}{kind}"
        yield _master(f"{base}/{title}_Endfassung.tif", w)
        if w.rescan:
            yield _master(f"{base}/{title}_Endfassung_korr.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/Teilaufnahmen/Aufnahme {i + 1}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/Druckdatei {SIZES[i]} Hadern.tif", w)
        if w.web:
            yield _phone(f"{base}/Handyfoto.jpg", w)
    else:
        flat = joined(title.translate(UMLAUTS), "_")
        day = f"{w.year}-{r.randrange(1, 13):02d}-{r.randrange(1, 29):02d}"
        base = f"Aufträge/{day}_{surname(who).translate(UMLAUTS)}_{flat}"
        yield _master(f"{base}/{title} final{r.choice(('', ' v2', ' neu'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/roh/{flat}_{('ol', 'or', 'ul', 'ur')[i]}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/{flat}_{SIZES[i]}_{('Auflage15', 'Andruck')[i]}.tif", w)
        if w.web:
            yield _photo(f"{base}/an Kundin/{title} klein.jpg", w)
        if w.detail:
            yield _photo(f"{base}/an Kundin/{title} Ausschnitt.jpg", w, 2200, 1600)


# -- Dutch -------------------------------------------------------------------------------------------------------------

EIKELAAR, STROOMBEEK = "Joost van den Eikelaar", "Anneke van Stroombeek"
DUTCH_ARTISTS = (EIKELAAR, STROOMBEEK, "Bram de Zilverling", "Femke Houtrijver", "Wout Kerkdries", "Tineke ter Wolbeek")
DUTCH_TITLES = (
    "Polder I",
    "Polder II",
    "Polder III",
    "Polder IV",
    "Compositie No. 12",
    "Compositie No. 13",
    "Zonder titel (rood)",
    "Zonder titel (groen)",
    "1953",
    "De laatste afdruk",
    "Proef van geduld",
    "Kopie van mijn vader",
    "Spinnenweb",
    "Ruwe zee",
    "De meester slaapt",
    "Blauwe tegels",
    "Detail van een deur",
    "Eindpunt",
    "Origineel en schaduw",
    "'t Wad bij eb",
    "'s Avonds laat",
    "Kaas, brood, mes",
    "Laag water",
    "Knotwilgen",
    "De sluiswachter",
    "Fietsen in de regen",
    "IJsvogel",
    "Tulpen",
    "Haven van vroeger",
    "Zes eieren",
    "Winterdijk",
    "Oma's servies",
    "Reigers",
    "Café op de hoek",
    "Stilte",
    "Een deel van de dag",
    "Klaprozen",
    "Het witte huis",
)
DUTCH_WHOSE: Whose = {
    "Polder": (EIKELAAR,),
    "Compositie": ("Wout Kerkdries",),
    "Zonder titel": (STROOMBEEK,),
    "Tulpen": ("",),
    "Stilte": (STROOMBEEK, "Bram de Zilverling"),
}


def _dutch(shop: Shop, found: Work) -> Iterator[Truth]:
    for w in _settled(found, DUTCH_WHOSE):
        yield from _dutch_work(shop, w)


def _dutch_work(shop: Shop, w: Work) -> Iterator[Truth]:
    """A folder a letter with the name's small words behind; months, run together; numbered jobs."""
    r, who, title = shop.dice, w.artist, w.title
    if not who:
        yield _master(f"nieuw/{title} bewerkt.tif", w)
        yield _phone(f"nieuw/{title} foto telefoon.jpg", w)
        return
    given, *small, core = who.split()
    if w.year in (2018, 2020):
        base = f"Kunstenaars/{core[0]}/{' '.join((core + ',', given, *small))}/{title}"
        yield _master(f"{base}/{title} - origineel.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/deelscans/deel {i + 1} van {w.tiles}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/giclée {SIZES[i]} katoen.tif", w)
        if w.web:
            yield _photo(f"{base}/website/{_slug(title)}.jpg", w)
        if w.detail:
            yield _photo(f"{base}/{title} - detail linksonder.jpg", w, 2200, 1600)
    elif w.year == 2019:
        month = r.choice(("jan", "mrt", "mei", "okt"))
        name = "".join(part[0] for part in small) + core
        low = joined(title, "_")
        yield _master(f"2019/{month}/{name}_{low}_scan.tif", w)
        for i in range(w.tiles):
            yield _tile(f"2019/{month}/{name}_{low}_scan_{'abcd'[i]}.tif", w)
        for i in range(w.prints):
            yield _print(f"2019/{month}/druk/{name}_{low}_A{i + 2}_{r.choice(('mat', 'canvas', 'alu'))}.tif", w)
    else:
        called = who if r.random() < 0.3 else " ".join((given[0] + ".", *small, core))
        job = f"OPDRACHTEN/{w.year % 100}-{r.randrange(10, 300):03d} {called}"
        base = f"{job}/{title}"
        yield _master(f"{base} {r.choice(('def', 'def2', 'bewerkt', 'bewerkt v3', 'definitief'))}.tif", w)
        if w.rescan:
            yield _master(f"{base} uitsnede.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{job}/ruw/{title} {i + 1}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base} {('drukbestand', 'proefdruk')[i]} {SIZES[i]}.tif", w)
        if w.web:
            yield _photo(f"{base} voor klant.jpg", w, 2000, 1500)


# -- French and Italian ------------------------------------------------------------------------------------------------

BELLONZI, ORMELLE = "Chiara Bellonzi", "Jean-Baptiste Ormelle"
RIVIERA_ARTISTS = (BELLONZI, ORMELLE, "Amedeo Scarpellari", "Solène Haubrecourt", "G. Falconesi", "Maëlle Trévissard")
RIVIERA_TITLES = (
    "Notturno I",
    "Notturno II",
    "Notturno III",
    "Senza titolo n. 3",
    "Senza titolo n. 4",
    "Marée basse 1",
    "Marée basse 2",
    "1974",
    "L'ultima stampa",
    "La prova",
    "Copia dal vero",
    "Ragnatela",
    "Terra cruda",
    "Il maestro e l'allieva",
    "Piastrelle",
    "Dettaglio di un addio",
    "Finale di stagione",
    "L'épreuve du feu",
    "Le maître du quai",
    "Toile d'araignée",
    "Carreaux cassés",
    "Détail d'un rêve",
    "Épreuve, encore",
    "Aujourd'hui (peut-être)",
    "Limoni, pane, vino",
    "Natura morta con brocca",
    "Le filet bleu",
    "Cyprès",
    "Pescatori",
    "La sieste",
    "Terrazza",
    "L'œil du chat",
    "Mistral",
    "Vicolo",
    "Les volets clos",
    "Original et ombre",
    "Barche in secca",
    "Città vuota",
    "Le tirage au sort",
    "Fichi",
    "Maestrale e sale",
    "Rue basse",
    "Quai n. 12",
)
RIVIERA_WHOSE: Whose = {
    "Notturno": ("Amedeo Scarpellari",),
    "Senza titolo": (BELLONZI,),
    "Marée basse": (ORMELLE,),
    "Mistral": ("",),
    "Vicolo": ("",),
}


def _riviera(shop: Shop, found: Work) -> Iterator[Truth]:
    """Numbered folders, then Italian names with the artist in brackets, then orders with names as a Mac writes them."""
    r = shop.dice
    w = next(_settled(found, RIVIERA_WHOSE))
    who, title = w.artist, w.title
    if not who:
        yield _master(f"nouveau/{title}.tif", w)
        yield _photo(f"nouveau/{title} (aperçu).jpg", w)
    elif w.year <= 2019:
        first, _, family = who.rpartition(" ")
        base = f"Fonds numérisé/{family} ({first})/{title}"
        shot = r.randrange(100, 9000)
        for i in range(w.tiles):
            yield _tile(f"{base}/01_captures/DSC_{shot + i:04d}.tif", w)
        yield _master(f"{base}/02_assemblage/{title}_assemblé.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/03_tirages/{title}_{SIZES[i]}_papier coton.tif", w)
        if w.web:
            yield _photo(f"{base}/04_web/{_slug(title)}-1200px.jpg", w, 1200, 900)
    elif w.year == 2020:
        base = f"Archivio/2020/{title} ({_short(who) if r.random() < 0.6 else who})"
        yield _master(f"{base}{r.choice(('', ' - definitivo', ' - corretto v3'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base} - parte {i + 1} di {w.tiles}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base} - {('stampa', 'prova colore')[i]} {SIZES[i]} cotone.tif", w)
        if w.detail:
            yield _photo(f"{base} - dettaglio.jpg", w, 2200, 1600)
        if w.web:
            yield _phone(f"{base} - foto cellulare.jpg", w)
    else:
        family = surname(who).upper() if w.year == 2022 else surname(who)
        base = f"commandes/{w.year}-{r.randrange(1, 13):02d} {family}"
        curly = title.replace("'", "’")
        told = [_master(f"{base}/{curly} retouché{r.choice(('', ' v2', ' v3', ' FINAL'))}.tif", w)]
        if w.rescan:
            told.append(_master(f"{base}/{curly} recadré.tif", w))
        told += [_tile(f"{base}/bruts/{curly} {side}.tif", w) for side in ("HG", "HD", "BG", "BD")[: w.tiles]]
        told += [
            _print(f"{base}/{('tirage définitif', 'BAT')[i]} - {curly} - {SIZES[i]}.tif", w) for i in range(w.prints)
        ]
        if w.web:
            told.append(_photo(f"{base}/{curly} pour le client.jpg", w, 2000, 1500))
        yield from (replace(t, path=unicodedata.normalize("NFD", t.path)) for t in told)


# -- Spanish and Portuguese --------------------------------------------------------------------------------------------

QUINTANAR, ARREBOL = "María José Quintanar Olmeda", "Joaquín Arrebol Castrillo"
SALDONHA, MOUTINHAL = "Beatriz Saldonha", "Graça Moutinhal"
IBERIAN_NAMES = {  # as the card index has them, as an order does, as a folder of the month does
    QUINTANAR: ("QUINTANAR OLMEDA, María José", "Mª José Quintanar", "Quintanar"),
    ARREBOL: ("ARREBOL CASTRILLO, Joaquín", "J. Arrebol", "Arrebol"),
    SALDONHA: ("SALDONHA, Beatriz", "B. Saldonha", "Saldonha"),
    MOUTINHAL: ("MOUTINHAL, Graça", "Graça Moutinhal", "Moutinhal"),
    "Tomé Vilarinhal": ("VILARINHAL, Tomé", "T. Vilarinhal", "Vilarinhal"),
    "R. Peñaverde": ("PEÑAVERDE, R.", "R. Peñaverde", "Peñaverde"),
}
IBERIAN_TITLES = (
    "Salinas 1",
    "Salinas 2",
    "Salinas 3",
    "Sem título 5",
    "Sem título 6",
    "Estudio Nº 4",
    "Estudio Nº 5",
    "1987",
    "La prueba",
    "Impresión de mayo",
    "Copia de la llave",
    "Tela de araña",
    "Azulejo",
    "Azulejos rotos",
    "El maestro en la ventana",
    "Crudo invierno",
    "O detalhe",
    "Prova de vida",
    "Final de verano",
    "Mestre Zé",
    "Maré baixa",
    "Pão, vinho e luz",
    "Teia",
    "Retrato (sin cabeza)",
    "¡Ay, qué calor!",
    "Original de familia",
    "Recorte de periódico",
    "Procissão",
    "Naranjas",
    "Eucaliptos",
    "Cometa",
    "Sardinas en papel",
    "O eléctrico",
    "Mujer con abanico",
    "Janela verde",
    "Chumberas",
    "Varanda",
    "Siesta",
    "Parte de mí",
    "Copia y sombra",
    "Cuaderno 7",
    "Cuaderno 8",
    "Ribeira",
    "Tinta china",
)
IBERIAN_WHOSE: Whose = {
    "Salinas": (QUINTANAR,),
    "Sem título": (MOUTINHAL,),
    "Estudio": ("R. Peñaverde",),
    "Naranjas": ("",),
    "Varanda": ("",),
    "Siesta": (ARREBOL, SALDONHA),
}


def _iberian(shop: Shop, found: Work) -> Iterator[Truth]:
    for w in _settled(found, IBERIAN_WHOSE):
        yield from _iberian_work(shop, w)


def _iberian_work(shop: Shop, w: Work) -> Iterator[Truth]:
    """A card index in capitals, then Portuguese orders, then a folder a month with the name behind its number."""
    r, title = shop.dice, w.title
    if not w.artist:
        yield _master(f"nuevo/{title}.tif", w)
        yield _print(f"nuevo/{title} A3 mate.tif", w)
        return
    card, order, month = IBERIAN_NAMES[w.artist]
    if w.year <= 2019:
        base = f"ARTISTAS/{card}/{title}"
        yield _master(f"{base}/{title.upper()} ORIGINAL 600ppp.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/tomas/toma_{i + 1:02d}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/{title} - impresión {SIZES[i]} algodón.tif", w)
        if w.web:
            yield _phone(f"{base}/{title} - foto móvil.jpg", w)
        if w.detail:
            yield _photo(f"{base}/{title} - detalle firma.jpg", w, 2200, 1600)
    elif w.year == 2020:
        base = f"Encomendas 2020/{order} - {title}"
        yield _master(f"{base} - digitalização.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base} - parte {i + 1} de {w.tiles}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base} - {('impressão', 'prova de cor')[i]} A{i + 2}.tif", w)
        if w.web:
            yield _photo(f"{base} - pormenor.jpg", w)
    else:
        base = f"{w.year}/{r.randrange(1, 13):02d}_{month}"
        low = joined(title, "_")
        yield _master(f"{base}/{low}_{r.choice(('definitivo', 'editado_v3', 'FINAL', 'retocado'))}.tif", w)
        if w.rescan:
            yield _master(f"{base}/{low}_recortado.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/crudos/{low}_{('sup_izq', 'sup_dcha', 'inf_izq', 'inf_dcha')[i]}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/imprimir/{low}_{SIZES[i]}_{('lienzo', 'papel')[i]}_{r.choice((1, 5, 25))}uds.tif", w)
        if w.web:
            yield _photo(f"{base}/{low}_para_cliente.jpg", w, 2000, 1500)


# -- Japanese ----------------------------------------------------------------------------------------------------------

ASAGIRI, SHIRASAGI, KUREHASHI = "浅霧遥", "白鷺坂誠", "Sayo Kurehashi"
KANA_NAMES = {  # as the artists' folders have them, as an order does, as the latest years do
    ASAGIRI: ("浅霧遥（Asagiri Haruka）", "浅霧様", "Asagiri_Haruka"),
    SHIRASAGI: ("白鷺坂 誠", "白鷺坂誠様", "白鷺坂誠"),
    "森野すみれ": ("森野すみれ", "森野先生", "森野すみれ"),
    "遠瀬 ミチル": ("遠瀬ミチル（Tose Michiru）", "遠瀬ミチル様", "Tose_Michiru"),
    KUREHASHI: ("Sayo Kurehashi", "KUREHASHI Sayo 様", "Kurehashi_Sayo"),
}
KANA_TITLES = (
    "波 一",
    "波 二",
    "波 三",
    "無題1",
    "無題2",
    "第4番",
    "第5番",
    "Komorebi II",
    "Komorebi III",
    "1987",
    "試し刷りの夜",
    "原画展の朝",
    "タイルの街",
    "名人",
    "写し絵",
    "蜘蛛の巣",
    "生成りの布",
    "細部",
    "最終列車",
    "Print Shop Cat",
    "Final Rain",
    "海のみえる窓",
    "ひかり",
    "Blue Room",
    "夏・海",
    "雨、のち晴れ",
    "「窓」",
    "縁側（冬）",
    "縁側（春）",
    "すいか",
    "Yuki no Michi",
    "ラムネ",
    "鉄塔",
    "狐の嫁入り",
    "Tokoroten",
    "ブランコ",
    "朝顔",
    "おばあちゃんの手",
    "港の猫",
    "路面電車",
)
KANA_WHOSE: Whose = {
    "波 ": (ASAGIRI,),
    "無題": (SHIRASAGI,),
    "第": ("森野すみれ",),
    "Komorebi": (KUREHASHI,),
    "縁側": ("遠瀬 ミチル",),
    "すいか": ("",),
    "鉄塔": ("",),
}


def _kana(shop: Shop, found: Work) -> Iterator[Truth]:
    """Artists' folders in kanji, dated orders with 様, and latest years in Latin letters where the artist has them."""
    r = shop.dice
    w = next(_settled(found, KANA_WHOSE))
    title = w.title
    if not w.artist:
        yield _master(f"新規/{title}.tif", w)
        yield _phone(f"新規/{title}_スマホ.jpg", w)
        return
    folder, order, latest = KANA_NAMES[w.artist]
    if w.year <= 2019:
        base = f"作家別/{folder}/{title}"
        yield _master(f"{base}/{title}_{r.choice(('最終', '完成', '完成版'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/元データ/{title}_{('左上', '右上', '左下', '右下')[i]}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/入稿用/{title}_A{i + 2}_{r.choice(('和紙', 'マット紙', '画布'))}.tif", w)
        if w.web:
            yield _phone(f"{base}/{title}_スマホ写真.jpg", w)
        if w.detail:
            yield _photo(f"{base}/{title}_部分.jpg", w, 2200, 1600)
    elif w.year == 2020:
        base = f"2020年度/{r.randrange(1, 13):02d}{r.randrange(1, 29):02d}_{order}_{title}"
        yield _master(f"{base}/{title}【修正済】.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}/スキャン/{i + 1:03d}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}/{title}【{('印刷', '色校正')[i]}】{('半切', '四切')[i]}_光沢.tif", w)
        if w.web:
            yield _photo(f"{base}/{title}_お客様確認用.jpg", w)
    else:
        base = f"{w.year}_archive/{latest}/{title}"
        yield _master(f"{base}_master{r.choice(('', '_v2', '_トリミング'))}.tif", w)
        for i in range(w.tiles):
            yield _tile(f"{base}_raw_{i + 1}.tif", w)
        for i in range(w.prints):
            yield _print(f"{base}_print_A{i + 3}_{r.choice(('washi', 'matte'))}.tif", w)
        if w.web:
            yield _photo(f"{base}_web.jpg", w, 1200, 900)


FRESH = (
    Shop(
        "a habit a year",
        YEARS_ARTISTS,
        YEARS_TITLES,
        _years,
        held_out=True,
        noise=("new/scan0001.tif", "new/scan0002.tif", "new/Image (7).tif", "new/IMG_4410.jpg", "new/Untitled-3.tif"),
    ),
    Shop(
        "hadern",
        SWISS_ARTISTS,
        SWISS_TITLES,
        _swiss,
        held_out=True,
        noise=("neu/Scan 3.tif", "neu/Unbenannt-1.tif", "neu/Bild (2).jpg", "Eingang/20210309_0001.tif"),
    ),
    Shop(
        "opdrachten",
        DUTCH_ARTISTS,
        DUTCH_TITLES,
        _dutch,
        held_out=True,
        noise=("nieuw/scan_014.tif", "nieuw/Naamloos-2.tif", "nieuw/IMG_0803.jpg", "van usb/Scan0001.tif"),
    ),
    Shop(
        "notturno",
        RIVIERA_ARTISTS,
        RIVIERA_TITLES,
        _riviera,
        held_out=True,
        noise=("nouveau/numérisation0004.tif", "nouveau/Sans titre-1.tif", "nouveau/P1010044.jpg", "da usb/scan1.tif"),
    ),
    Shop(
        "encomendas",
        tuple(IBERIAN_NAMES),
        IBERIAN_TITLES,
        _iberian,
        held_out=True,
        noise=("nuevo/escaneo0001.tif", "nuevo/Sin título-1.tif", "nuevo/IMG_20210412_1033.jpg", "nuevo/img003.tif"),
    ),
    Shop(
        "作家別",
        tuple(KANA_NAMES),
        KANA_TITLES,
        _kana,
        held_out=True,
        noise=(
            "新規/スキャン0001.tif",
            "新しいフォルダー/名称未設定-1.tif",
            "新しいフォルダー/IMG_1022.jpg",
            "新規/無題.tif",
        ),
    ),
)
