"""Six small shops, each of one plain habit, written before the guessing saw them. Every name is invented."""

from collections.abc import Iterator

from scripts.names_kinds import SIZES, Shop, Truth, Work, initial, joined, last_first, surname


def _tiff(path: str, w: Work, role: str = "master") -> Truth:
    width, height = {"master": (13800, 10400), "tile": (7900, 6000), "print file": (7200, 5400)}[role]
    return Truth(path, w.artist, w.title, role, width=width, height=height)


def _jpeg(path: str, w: Work) -> Truth:
    return Truth(path, w.artist, w.title, "reference", "JPEG", 1600, 1200)


def _tile_marks(count: int) -> list[str]:
    return [f"_{row:02}_{column:02}" for row in range(1, count // 2 + 1) for column in (1, 2)]


# English: artists' folders, and whatever the day brought.
MESS_ARTISTS = ("Hettie Crosswain", "Dougal Pennifold", "Ottoline Brackwater", "Wilf Amberstone", "Marnie Ellwick",
                "Tobias Quernmore")
MESS_TITLES = (
    "Slipway, Early", "The Blue Gate", "Harbour", "Harbour at Night", "Estuary I", "Estuary II", "Estuary III",
    "Lemons", "Lemons and Jug", "My Father's Shed", "Hare", "Running Hare", "Winter Allotment", "Two Pears",
    "Above the Weir", "Road to Saltby", "Washing Day", "Self Portrait", "Kitchen Window", "Kitchen Table",
    "The Last Swim", "November", "Poppies", "Rain on the Moor", "Old Rope", "Heron", "Low Water", "Crab Pots",
    "Greenhouse", "Study for Greenhouse", "Untitled 4", "Red Boat", "Three Sisters", "The Print Fair",
    "Fox, Sleeping",
    "Beech Hedge", "Moonrise", "Chalk Pit", "Mending Nets", "Tea at Four", "Swifts", "Clay Field", "Black Barn",
)


def _mess(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    own = f"Scans/{w.artist}"
    yield r.choice((
        _tiff(f"{own}/{w.title}.tif", w), _tiff(f"{own}/{w.title}.tif", w), _tiff(f"{own}/{w.title} FINAL.tif", w),
        _tiff(f"to sort/{w.artist} - {w.title}.tif", w), _tiff(f"{own}/{joined(w.title, '_')}_master.tif", w),
        _tiff(f"Scans/from old drive/{initial(w.artist)} {w.title}.tif", w)))
    for mark in _tile_marks(w.tiles):
        yield _tiff(f"{own}/raw/{joined(w.title, '_')}{mark}.tif", w, "tile")
    size = r.choice(("16x20", "12x16", "8x10", "A3", "A2"))
    if w.prints:
        yield r.choice((
            _tiff(f"Print/{w.artist}/{w.title} {size} print.tif", w, "print file"),
            _tiff(f"Print/{surname(w.artist)} {w.title} {size} 300dpi.tif", w, "print file"),
            _tiff(f"{own}/{w.title} {size} for print FINAL v2.tif", w, "print file")))
    if w.prints == 2:
        yield _tiff(f"Print/{w.artist}/{w.title} {size} print copy.tif", w, "print file")
    if w.web:
        yield r.choice((_jpeg(f"web/{w.artist} {w.title} web.jpg", w), _jpeg(f"{own}/web/{w.title}.jpg", w)))
    if w.detail:
        yield _jpeg(f"{own}/{w.title} detail.jpg", w)
    if w.rescan:
        yield _tiff(f"{own}/{w.title} rescan.tif", w)


# German: a folder an order, with its number and the client's name; the artists are the clients.
JOBS_ARTISTS = ("Ilse Kesselbrand", "Henning Moorwieser", "Traudl Zirnheld", "Volkmar Ehnsdorf", "Birte Lautersee",
                "Arno Wachholtz-Reim")
JOBS_TITLES = (
    "Abendlicht", "Abendlicht am Deich", "Stillleben mit Quitten", "Der alte Kahn", "Nebel über Wiesen", "Birken I",
    "Birken II", "Selbstbildnis", "Marktplatz", "Im Garten", "Kornfeld", "Winterweg", "Die Wartende", "Rote Dächer",
    "Hafen im Regen", "Blaue Stunde", "Mohn", "Mohnfeld", "Große Welle", "Kleine Welle", "Zwei Stühle",
    "Fensterblick",
    "Komposition 7", "Komposition 12", "Hinterhof", "Brücke", "Katze auf Sofa", "Schneeschmelze", "Tulpen",
    "Apfelbaum",
    "Sommer 1", "Sommer 2", "Ohne Titel", "Am Weiher", "Morgengrauen", "Das gelbe Haus", "Steinbruch", "Frau mit Hut",
    "Gewitter", "Dünen", "Treppenhaus", "Zirkus", "Schwalben",
)


def _jobs(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    first = 100 * (JOBS_ARTISTS.index(w.artist) + 1)
    number = f"{w.year}-{first + (w.year * 7 + len(w.artist)) % 90:04}"
    name = w.artist if (w.year + len(w.artist)) % 3 == 0 else surname(w.artist)
    job = f"Auftraege/{w.year}/{number} {name}"
    yield r.choice((_tiff(f"{job}/{w.title}.tif", w), _tiff(f"{job}/{w.title}.tif", w),
                    _tiff(f"{job}/Scan/{w.title}_Original.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{job}/Rohscans/{w.title}_{i}.tif", w, "tile")
    size = r.choice(SIZES)
    for i in range(w.prints):
        yield _tiff(f"{job}/Druck/{w.title}_{size}" + ("_neu" if i else "") + ".tif", w, "print file")
    if w.web:
        yield _jpeg(f"{job}/{w.title} klein.jpg", w)
    if w.detail:
        yield _jpeg(f"{job}/Fotos/{w.title} Detail.jpg", w)


# French: one flat folder, "Artist_Title_size_ppi".
FLAT_ARTISTS = ("Odile Marchevin", "Bastien Courvallet", "Maïwenn Trégastin", "Léonce Dubrulat", "Capucine Aubrillac",
                "Yves Fontanroche")
FLAT_TITLES = (
    "Le grand figuier", "Citrons", "Citrons et cruche", "La plage en hiver", "Nu assis", "Le port", "Le port la nuit",
    "Vers le large", "Les toits", "Jardin I", "Jardin II", "Jardin III", "Autoportrait", "Fenêtre ouverte", "L'orage",
    "Chemin creux", "Pivoines", "Coquelicots", "La table bleue", "Rue des Lices", "Matin", "Soir d'été",
    "Les baigneuses",
    "Vieux mur", "Barques", "Barque rouge", "Sans titre 3", "Le chat", "Nature morte aux poires", "Marée basse",
    "Le pont", "Brume", "Oliviers", "La lectrice", "Un dimanche", "Cabanes", "Phare", "Champ de lin", "Vendanges",
    "La falaise", "Neige", "Petit marché", "Glycine", "Dunes", "Carrière", "Les deux soeurs", "Tournesols",
    "Hirondelles",
    "Lavoir", "Place vide", "Le moulin", "Tempête", "Quai nord", "Genêts", "Cerises", "Rivage", "Ardoises", "Averse",
)


def _flat(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    start = f"Oeuvres/{w.artist.replace(' ', '-')}_{joined(w.title, '-')}"
    yield _tiff(f"{start}_{r.choice(SIZES)}cm_{r.choice(('400ppi', '600ppi'))}.tif", w)
    for size in r.sample(SIZES, w.prints):
        yield _tiff(f"{start}_impression_{size}_300ppi.tif", w, "print file")
    if w.web:
        yield _jpeg(f"{start}_web_72ppi.jpg", w)
    for i in range(1, w.tiles + 1):
        yield _tiff(f"Oeuvres/brut/{surname(w.artist)}_{joined(w.title, '-')}_{i}.tif", w, "tile")
    if w.detail:
        yield _jpeg(f"{start}_détail.jpg", w)


# Swedish: folders "Surname, First name".
CARDS_ARTISTS = ("Elsa Kvarnhede", "Torvald Lingesjö", "Maj-Britt Ösmark", "Sixten Barkrud", "Alva Stenvret",
                 "Hjördis Granfalk")
CARDS_TITLES = (
    "Höst vid ån", "Vinterljus", "Röda stugan", "Brygga", "Bryggan om natten", "Skärgård I", "Skärgård II", "Äpplen",
    "Självporträtt", "Björkar", "Midsommar", "Sjöbod", "Fiskaren", "Blå timmen", "Vår", "Vårflod", "Två stolar",
    "Köksbordet", "Dimma", "Hav", "Havet stiger", "Utan titel 2", "Åkern", "Stilleben med lök", "Fönster", "Tranor",
    "Gamla kvarnen", "Regn över Visle", "Ljung", "Ekorre", "Klippor", "Snöfall", "Ljusgården", "Ladan", "Sista båten",
    "Trädgård", "Månsken", "Näckrosor", "Flickan med katten", "Storm", "Myren", "Rönnbär", "Fyren",
)


def _cards(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    own = f"Konstnärer/{last_first(w.artist)}"
    yield r.choice((_tiff(f"{own}/{w.title}.tif", w), _tiff(f"{own}/{w.title} ({w.year}).tif", w),
                    _tiff(f"{own}/{w.title} original.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{own}/råscan/{w.title} {i:02}.tif", w, "tile")
    for size in r.sample(SIZES, w.prints):
        yield r.choice((_tiff(f"{own}/tryck/{w.title} {size}.tif", w, "print file"),
                        _tiff(f"Till tryck/{surname(w.artist)} {w.title} {size} cm.tif", w, "print file")))
    if w.web:
        yield _jpeg(f"{own}/webb/{w.title}.jpg", w)
    if w.detail:
        yield _jpeg(f"{own}/{w.title} detalj.jpg", w)
    if w.rescan:
        yield _tiff(f"{own}/{w.title} ny scan.tif", w)


# Spanish: the year, then the artist.
BY_YEAR_ARTISTS = ("Remedios Altozano", "Joaquín Peñalver Rozas", "Iria Castromil", "Fermín Ugartondo",
                   "Dolores Vadillo Quirce", "Nil Rocabertí")
BY_YEAR_TITLES = (
    "La higuera", "Patio", "Patio con limonero", "El mar de fondo", "Bodegón con granadas", "Autorretrato", "Tejados",
    "La siesta", "Olivar I", "Olivar II", "Barcas", "Barcas al sol", "Mujer leyendo", "Lluvia", "Calle Mayor",
    "Invierno",
    "El puente viejo", "Amapolas", "La espera", "Noche de verano", "Sin título 5", "Ventana", "Gallo", "Cosecha",
    "Camino de la ermita", "Azoteas", "El taller", "Dos sillas", "Retrato de mi madre", "Marea", "Molinos",
    "Cal y sombra",
    "Encinas", "Naranjas", "La fuente", "Tormenta", "Pescadores", "El jardín secreto", "Almendros", "Puerto",
    "Niebla",
    "Las hermanas", "Río abajo",
)


def _by_year(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    own = f"{w.year}/{w.artist}"
    yield r.choice((_tiff(f"{own}/{w.title}.tif", w), _tiff(f"{own}/{w.title}_original.tif", w),
                    _tiff(f"{own}/{w.title}/{w.title}.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{own}/{w.title}/parte {i}.tif", w, "tile")
    for size in r.sample(SIZES, w.prints):
        yield r.choice((_tiff(f"{own}/{w.title}_imprimir_{size}.tif", w, "print file"),
                        _tiff(f"{own}/imprenta/{w.title} {size} final.tif", w, "print file")))
    if w.web:
        yield _jpeg(f"{own}/{w.title}_web.jpg", w)
    if w.detail:
        yield _jpeg(f"{own}/{w.title} detalle.jpg", w)


# Japanese: artist, year, title.
LEVELS_ARTISTS = ("真砂野千景", "久遠寺陽介", "早瀬川みのり", "鳥飼部徹", "葛野葉月", "入船坂修")
LEVELS_TITLES = (
    "灯台", "灯台の朝", "冬の港", "椿", "白い椿", "海辺の家", "雨上がり", "自画像", "夕凪", "棚田", "静物",
    "檸檬のある静物",
    "山道", "風景一", "風景二", "金魚", "祭りの夜", "窓辺", "古い橋", "霧", "竹林", "川のほとり", "猫", "眠る猫",
    "初雪", "麦畑",
    "舟", "二艘の舟", "月夜", "花火", "無題3", "庭", "母の手", "朝顔", "枯野", "遠雷", "坂の町", "柿", "水鏡", "波",
    "青の時間",
    "鷺", "石垣",
)


def _levels(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    own = f"作品データ/{w.artist}/{w.year}/{w.title}"
    yield r.choice((_tiff(f"{own}/{w.title}.tif", w), _tiff(f"{own}/{w.title}_原画.tif", w),
                    _tiff(f"{own}/{w.title}_最終.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{own}/分割/{w.title}_{i:02}.tif", w, "tile")
    for size in r.sample(("A4", "A3", "A2", "B4"), w.prints):
        yield r.choice((_tiff(f"{own}/{w.title}_印刷用_{size}.tif", w, "print file"),
                        _tiff(f"{own}/印刷/{w.title}_{size}.tif", w, "print file")))
    if w.web:
        yield _jpeg(f"{own}/{w.title}_web.jpg", w)
    if w.detail:
        yield _jpeg(f"{own}/{w.title}_部分.jpg", w)


SMALL = (
    Shop("small mess", MESS_ARTISTS, MESS_TITLES, _mess, True,
         ("to sort/Scan0003.tif", "to sort/Scan0004.tif", "to sort/IMG_2210.jpg", "Scans/Untitled-1.tif")),
    Shop("small jobs", JOBS_ARTISTS, JOBS_TITLES, _jobs, True, ("Auftraege/unsortiert/Scan_0012.tif",)),
    Shop("small flat", FLAT_ARTISTS, FLAT_TITLES, _flat, True, ("Oeuvres/scan001.tif", "Oeuvres/IMG_0411.jpg")),
    Shop("small surnames", CARDS_ARTISTS, CARDS_TITLES, _cards, True, ("Osorterat/Skanning 7.tif",)),
    Shop("small years", BY_YEAR_ARTISTS, BY_YEAR_TITLES, _by_year, True,
         ("por ordenar/escaneo0002.tif", "por ordenar/IMG_7781.jpg")),
    Shop("small levels", LEVELS_ARTISTS, LEVELS_TITLES, _levels, True, ("未整理/スキャン0008.tif",)),
)
