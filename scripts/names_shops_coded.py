"""Two invented shops with habits that none of the others has, looked at once before anything was changed for them.

An Italian one that files by codes of artists, works and projects, and a Dutch one with shelves by ranges of letters,
weeks and editions. The truth is what a careful reader of all paths could say. Every name is invented.
"""

from collections.abc import Iterator

from scripts.names_kinds import Shop, Truth, Work, joined


def made_file(path: str, work: Work, artist: str, role: str) -> Truth:
    kind, width, height = {"master": ("TIFF", 15200, 11400), "tile": ("TIFF", 8000, 6000),
                           "print file": ("TIFF", 7100, 5300), "reference": ("JPEG", 1600, 1200)}[role]
    ending = "jpg" if kind == "JPEG" else "tif"
    return Truth(f"{path}.{ending}", artist, work.title, role, kind, width, height)


# -- codes of artists, works and projects ------------------------------------------------------------------------------

CODED_ARTISTS = ("Marina Ferraguzzi", "Ettore Baldovento", "Ginevra Malaspiga", "Corrado Lunardesi",
                 "Ilaria di Roccafumo", "Tullio Senzacqua", "Noemi Grandolfi")
CODED_TITLES = (
    "Barche al molo", "Natura morta con limoni", "La soglia", "Stampa antica", "Vigna in ottobre", "Cortile", "Afa",
    "Prova d'orchestra", "Notturno n. 2", "Notturno n. 3", "Notturno n. 5", "Il falegname", "Scirocco", "Rovine",
    "1968", "Copia dal vero", "Tre bottiglie", "Mercato del pesce", "Senza titolo (blu)", "Senza titolo (ocra)",
    "Ulivi", "Alba", "Tegole", "Finestra sul porto", "Le lavandaie", "Dettagli di un addio", "Neve a valle",
    "Autoritratto", "Il pozzo", "Fondo marino", "Sedie", "Terrazza", "Risaia I", "Risaia II", "Santa Lucia",
    "Ponte di ferro", "Gatto", "Estate", "Fuochi", "Bassa marea", "Capanno", "Lettera mai spedita",
)


def _coded(shop: Shop, w: Work) -> Iterator[Truth]:
    """Codes first: titles stand in the folder of the work alone, then in a project's folder, then behind its number."""
    r, who, title = shop.dice, w.artist, w.title
    given, _, family = who.partition(" ")
    bare = family.removeprefix("di ")
    if w.year <= 2019:
        code = f"{bare[:3].upper()}-{r.randrange(1, 90):03d}"
        base = f"Autori/{bare[:3].upper()}_{family} {given}/{code} {title}/{code}"
        yield made_file(f"{base}_def", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}_acq{i + 1}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}_st_{('50x70', '30x40')[i]}", w, who, "print file")
        if w.web:
            yield made_file(f"{base}_bassa", w, who, "reference")
    elif w.year == 2020:
        project = f"P20-{r.randrange(1, 60):03d} {r.choice(('mostra Genova', 'catalogo', 'ristampe'))} {family}"
        base = f"Progetti/{project}"
        yield made_file(f"{base}/{title}", w, who, "master")
        if w.rescan:
            yield made_file(f"{base}/{title} (riacquisito)", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}/acquisizioni/{title} {i + 1:02d}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}/stampe/{title} {('A2', '40x60 cm')[i]} {('cotone', 'baritata')[i]}", w, who,
                        "print file")
        if w.web or w.detail:
            yield made_file(f"{base}/per il cliente/{title}", w, who, "reference")
    else:
        month = r.choice(("01 gennaio", "03 marzo", "06 giugno", "11 novembre"))
        base = f"{w.year}/{month}/P{w.year % 100}-{r.randrange(1, 99):03d}_{bare}_{joined(title, '-')}"
        yield made_file(f"{base}_master", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}_acq-{i + 1}di{w.tiles}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}_stampa_{('50x70', '24x30')[i]}_{('cotone', 'tela')[i]}", w, who, "print file")
        if w.web:
            yield made_file(f"{base}_bassa", w, who, "reference")


# -- shelves by ranges of letters, weeks, editions ---------------------------------------------------------------------

RANGE_ARTISTS = ("Joost van den Heuvelrode", "Marijke Zandstra-Bol", "Wout Kloosterhuizen", "Femke de Rietvinck",
                 "Lieven Pottelbergh", "Anneloes Duinkerck")
RANGE_TITLES = (
    "Zeezicht", "Stilleven met kan", "Polder", "Waslijn", "De drukkerij", "Molen bij avond", "IJs", "Drie peren",
    "Het web van de spin", "Kade 3", "Kade 4", "Storm op komst", "Portret van een buurman", "Sluis", "Kopie naar Vos",
    "Bollenveld", "Mist", "Origineel van niets", "Fietsen", "Regen, brug", "Dakpannen", "Zonder titel 5",
    "Zonder titel 6", "Haven in de winter", "Tulpen (wit)", "Tulpen (rood)", "Duin", "Eb", "Proeflokaal", "1977",
    "Oude kerk", "Roeiboot", "Achterkant van de markt", "Weiland I", "Weiland II", "Klein geluk", "Nachtelijk raam",
    "Schaatsers", "Bakkerij", "Wolken",
)


def _ranges(shop: Shop, w: Work) -> Iterator[Truth]:
    """The master bears the day of its scan; later weeks, with numbers of an edition; then slugs under surnames."""
    r, who, title = shop.dice, w.artist, w.title
    given, _, family = who.partition(" ")
    core = family.rpartition(" ")[2]
    before = family.removesuffix(core).strip()
    slug = "".join(c if c.isalnum() else "-" for c in title.lower()).strip("-").replace("--", "-")
    day = f"{w.year}{r.randrange(1, 13):02d}{r.randrange(1, 29):02d}"
    if w.year <= 2019:
        shelf = "Kunstenaars A-K" if core[0] <= "K" else "Kunstenaars L-Z"
        base = f"{shelf}/{core}, {given}{' ' if before else ''}{before}/{title}"
        yield made_file(f"{base}/{slug}_{day}", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}/_bron/{slug}_{'abcd'[i]}", w, who, "tile")
        for i in range(w.prints):
            end = f"{('40x60', '30x45')[i]}_{('bamboe', 'doek')[i]}"
            yield made_file(f"{base}/_print/{slug}_{end}", w, who, "print file")
        if w.web:
            yield made_file(f"{base}/_mail/{slug}", w, who, "reference")
    elif w.year == 2020:
        short = f"{given[0]}. {before.replace('van den', 'v.d.')}{' ' if before else ''}{core}"
        base = f"2020/Week {r.randrange(1, 53):02d}/{short} - {title}"
        yield made_file(base, w, who, "master")
        if w.rescan:
            yield made_file(f"{base} (nieuwe scan)", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base} (deel {i + 1} van {w.tiles})", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base} ed {r.randrange(1, 20):02d}-20 {('40x60', '60x90')[i]}", w, who, "print file")
        if w.web:
            yield made_file(f"{base} mail", w, who, "reference")
    else:
        base = f"Reproducties/{core.lower()}/{w.year}-{core.lower()}-{slug}"
        yield made_file(f"{base}-bronbestand", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}-opname-{i + 1}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}-drukklaar-{('a2', '50x70')[i]}", w, who, "print file")
        if w.detail or w.web:
            yield made_file(f"{base}-schermversie", w, who, "reference")


CODED = (
    Shop("codici", CODED_ARTISTS, CODED_TITLES, _coded, held_out=True,
         noise=("da sistemare/Immagine 7.tif", "da sistemare/IMG_5512.jpg", "da sistemare/scansione0003.tif")),
    Shop("letters and weeks", RANGE_ARTISTS, RANGE_TITLES, _ranges, held_out=True,
         noise=("Bureaublad/scan 4.tif", "Bureaublad/IMG_8120.jpg", "nog doen/Naamloos-1.tif")),
)
