"""Invented shops for the bench of guessed names: their artists, titles and habits of naming, and what every file is.

Habits are those of many shops, common practice, no source; every name is invented. Held-out shops are looked
at only when the guessing is done; once they were, they are shops to tune by.
"""

from collections.abc import Iterator

from scripts.names_kinds import SIZES, Shop, Truth, Work, camel, initial, joined, last_first, surname
from scripts.names_shops_clients import CLIENT_SHOPS
from scripts.names_shops_coded import CODED
from scripts.names_shops_fresh import FRESH
from scripts.names_shops_habits import HABITS
from scripts.names_shops_last import LAST
from scripts.names_shops_small import SMALL

# -- habits ------------------------------------------------------------------------------------------------------------


def _artist_piece(shop: Shop, w: Work) -> Iterator[Truth]:
    """Artist/Piece/Piece master, tiles in a folder, prints beside."""
    base = f"{w.artist}/{w.title}"
    yield Truth(f"{base}/{w.title} master.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/tiles/{w.title} tile {i + 1} of {w.tiles}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/{w.title} print {SIZES[i]}.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base}/web/{w.title}.jpg", w.artist, w.title, "reference", "JPEG", 1600, 1200)
    if w.detail:
        yield Truth(f"{base}/{w.title} detail left.jpg", w.artist, w.title, "reference", "JPEG", 2400, 1600)
    if w.rescan:
        yield Truth(f"{base}/{w.title} rescan {w.year + 2}.tif", w.artist, w.title, "master")


def _jobs(shop: Shop, w: Work) -> Iterator[Truth]:
    """JOBS/2021/2021-034 Surname/FOR PRINT/JSurname Title 30x24 300dpi."""
    forms = (surname, last_first, initial, str)
    job = f"JOBS/{w.year}/{w.year}-{shop.dice.randrange(10, 400):03d} {shop.dice.choice(forms)(w.artist)}"
    yield Truth(f"{job}/{w.title}.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{job}/raw/{joined(w.title, '_')}_{i + 1:02d}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(
            f"{job}/FOR PRINT/{camel(w.artist)} {w.title} {SIZES[i]} 300dpi.tif", w.artist, w.title, "print file"
        )
    if w.rescan:
        yield Truth(f"{job}/{w.title} copy.tif", w.artist, w.title, "master")
    if w.web:
        yield Truth(f"{job}/{w.title} web.jpg", w.artist, w.title, "reference", "JPEG", 1400, 1000)


def _flat_dashes(shop: Shop, w: Work) -> Iterator[Truth]:
    """Scans 2021/Artist - Title - 50x70cm - FINAL v2."""
    base = f"Scans {w.year}/{w.artist} - {w.title}"
    yield Truth(f"{base}.tif" if not w.rescan else f"{base} - FINAL v2.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base} - r{i // 2 + 1}c{i % 2 + 1}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base} - {SIZES[i]}cm canvas.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base} - web.jpg", w.artist, w.title, "reference", "JPEG", 1600, 1200)


def _underscores(shop: Shop, w: Work) -> Iterator[Truth]:
    """surname/surname_low_tide_2019_600ppi."""
    who = surname(w.artist).lower()
    base = f"archive/{who}/{who}_{joined(w.title.lower(), '_')}"
    yield Truth(f"{base}_{w.year}_600ppi.tif", surname(w.artist), w.title, "master")
    for i in range(w.tiles):
        yield Truth(
            f"archive/{who}/raw/{who}_{joined(w.title.lower(), '_')}_tile{i + 1:02d}.tif",
            surname(w.artist),
            w.title,
            "tile",
        )
    for i in range(w.prints):
        yield Truth(f"{base}_print_{SIZES[i]}.tif", surname(w.artist), w.title, "print file")
    if w.web:
        yield Truth(f"{base}_web.jpg", surname(w.artist), w.title, "reference", "JPEG", 1600, 1200)


def _german(shop: Shop, w: Work) -> Iterator[Truth]:
    """Künstler/Nachname, Vorname/Titel/Titel_Druck_50x70cm; tiles as "Teil 1 von 4" in Rohscans."""
    base = f"Künstler/{last_first(w.artist)}/{w.title}"
    yield Truth(f"{base}/{w.title}.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/Rohscans/Teil {i + 1} von {w.tiles}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/{w.title}_Druck_{SIZES[i]}cm.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base}/{w.title}_Vorschau.jpg", w.artist, w.title, "reference", "JPEG", 1600, 1200)
    if w.detail:
        yield Truth(f"{base}/{w.title}_Detail.jpg", w.artist, w.title, "reference", "JPEG", 1600, 1200)


def _german_orders(shop: Shop, w: Work) -> Iterator[Truth]:
    """Aufträge 2021/Auftrag 1234 Nachname/Nachname - Titel (2019) 600dpi."""
    base = f"Aufträge {w.year}/Auftrag {shop.dice.randrange(1000, 9999)} {surname(w.artist)}"
    yield Truth(f"{base}/{surname(w.artist)} - {w.title} ({w.year}) 600dpi.tif", surname(w.artist), w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/Kacheln/{w.title} {i + 1:02d}.tif", surname(w.artist), w.title, "tile")
    for i in range(w.prints):
        yield Truth(
            f"{base}/Druckdaten/{surname(w.artist)} - {w.title} {SIZES[i]} Leinwand.tif",
            surname(w.artist),
            w.title,
            "print file",
        )


def _french(shop: Shop, w: Work) -> Iterator[Truth]:
    """Year/Artiste/Titre - 50 x 70 cm; tirages in a folder; brut for tiles."""
    base = f"{w.year}/{w.artist}"
    yield Truth(f"{base}/{w.title}.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/bruts/{w.title} - partie {i + 1}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        size = SIZES[i].replace("x", " x ")
        yield Truth(f"{base}/Tirages/{w.title} - {size} cm - papier mat.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base}/{w.title} (web).jpg", w.artist, w.title, "reference", "JPEG", 1200, 900)


def _french_flat(shop: Shop, w: Work) -> Iterator[Truth]:
    """A commandes folder, CDupont_LesCitrons_30x40_300dpi."""
    base = f"commandes/{w.year}/{camel(w.artist)}_{joined(w.title.title(), '')}"
    who = f"{w.artist[0]}. {surname(w.artist)}"  # no path says more
    yield Truth(f"{base}.tif", who, w.title, "master")
    for i in range(w.prints):
        yield Truth(f"{base}_{SIZES[i]}_300dpi.tif", who, w.title, "print file")
    for i in range(w.tiles):
        yield Truth(f"{base}_tuile{i + 1}.tif", who, w.title, "tile")
    if w.rescan:
        yield Truth(f"{base}_v2.tif", who, w.title, "master")


def _swedish(shop: Shop, w: Work) -> Iterator[Truth]:
    """Konstnärer/Förnamn Efternamn/Titel 2019; delskanning; tryck."""
    base = f"Konstnärer/{w.artist}/{w.title}"
    yield Truth(f"{base} {w.year}.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base} del {i + 1}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base} tryck {SIZES[i]}.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base} webb-liten.jpg", w.artist, w.title, "reference", "JPEG", 1000, 700)


def _spanish(shop: Shop, w: Work) -> Iterator[Truth]:
    """Clientes/Apellido/2021/Título/master; impresión."""
    base = f"Clientes/{w.artist}/{w.year}/{w.title}"
    yield Truth(f"{base}/original.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/partes/scan_{i + 1:03d}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/impresión/{w.title} {SIZES[i]} lienzo.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base}/foto.jpg", w.artist, w.title, "reference", "JPEG", 1000, 700)


def _japanese(shop: Shop, w: Work) -> Iterator[Truth]:
    """作家/氏名/題名/題名_印刷用_A3."""
    base = f"作家/{w.artist}/{w.title}"
    yield Truth(f"{base}/{w.title}_原本.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/分割/{w.title}_{i + 1:02d}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/{w.title}_印刷用_A{3 - i}.tif", w.artist, w.title, "print file")
    if w.web:
        yield Truth(f"{base}/{w.title}_ウェブ.jpg", w.artist, w.title, "reference", "JPEG", 1000, 700)


def _romaji(shop: Shop, w: Work) -> Iterator[Truth]:
    """2021/Tanaka Hanako/Title_scan, Title_print_A2."""
    who = f"{surname(w.artist)} {w.artist.split()[0]}"
    base = f"{w.year}/{who}"
    yield Truth(f"{base}/{w.title}_scan.tif", w.artist, w.title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/{w.title}_tiles/t{i + 1:02d}.tif", w.artist, w.title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/print/{w.title}_A{2 - i}_rag.tif", w.artist, w.title, "print file")


def _title_first(shop: Shop, w: Work) -> Iterator[Truth]:
    """Flat: "Harbour Wall - Nell Ashgrove - 60x80 - canvas", the title first; "Harbour Wall (Ashgrove) raw 1"."""
    base = f"to print/{w.title} - {w.artist}"
    yield Truth(f"Originals/{w.title} - {w.artist}.tif", w.artist, w.title, "master")
    for i in range(w.prints):
        yield Truth(f"{base} - {SIZES[i]} - canvas.tif", w.artist, w.title, "print file")
    for i in range(w.tiles):
        yield Truth(f"Originals/raw/{w.title} - {w.artist} ({i + 1} of {w.tiles}).tif", w.artist, w.title, "tile")
    if w.web:
        yield Truth(f"website/{joined(w.title.lower(), '-')}.jpg", w.artist, w.title, "reference", "JPEG", 1200, 800)


# -- mixed habits, as a shop's years leave them ------------------------------------------------------------------------


def _mixed_english(shop: Shop, w: Work) -> Iterator[Truth]:
    """Three habits in one shop: a loose year, then folders with everything, then orders by date."""
    who, title = w.artist, w.title
    if w.year < 2020:
        yield Truth(f"{w.year}/{surname(who)}/{title.lower()} scan.tif", who, title, "master")
        for i in range(w.prints):
            yield Truth(
                f"{w.year}/{surname(who)}/{title.lower()} {SIZES[i].split('x')[0]}in print.tif",
                who,
                title,
                "print file",
            )
        return
    base = f"Client work/{surname(who)}, {who[0]}/{title}"
    yield Truth(f"{base}/Stitched/{title}_600ppi_AdobeRGB.tif", who, title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/Captures/{title}_{'ABCD'[i]}{i + 1}.tif", who, title, "tile")
    for i in range(w.prints):
        yield Truth(f"PRINT/{w.year}-11-{i + 3:02d} {who} {title} A{2 + i} Baryta.tif", who, title, "print file")
    if w.rescan:
        yield Truth(f"{base}/Stitched/{title}_600ppi_AdobeRGB (1).tif", who, title, "master")
    if w.web:
        yield Truth(f"{base}/web/{joined(title, '-')}_1200px.jpg", who, title, "reference", "JPEG", 1200, 900)


def _mixed_german(shop: Shop, w: Work) -> Iterator[Truth]:
    """Kunden/Nachname Vorname/Bilder 2020/…; Einzelscans; prints elsewhere, in one word."""
    who, title = w.artist, w.title
    base = f"Kunden/{surname(who)} {who.split()[0]}/Bilder {w.year}"
    yield Truth(f"{base}/{title}_gesamt.tif", who, title, "master")
    for i in range(w.tiles):
        side = ("links oben", "rechts oben", "links unten", "rechts unten")[i]
        yield Truth(f"{base}/Einzelscans/{title} {side}.tif", who, title, "tile")
    for i in range(w.prints):
        yield Truth(
            f"Druck {w.year}/{surname(who)}_{joined(title.title(), '')}_{SIZES[i]}_Bütten310g.tif",
            who,
            title,
            "print file",
        )
    if w.detail:
        yield Truth(f"{base}/{title} Ausschnitt.jpg", who, title, "reference", "JPEG", 2000, 1400)


def _mixed_french(shop: Shop, w: Work) -> Iterator[Truth]:
    """Artistes/NOM Prénom/Titre/Titre HD; scans bruts; tirage A2 - Titre."""
    who, title = w.artist, w.title
    base = f"Artistes/{surname(who).upper()} {who.split()[0]}/{title}"
    yield Truth(f"{base}/{title} HD.tif", who, title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/scans bruts/scan_{i + 1:03d}.tif", who, title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/tirage A{i + 2} - {title}.tif", who, title, "print file")
    if w.web:
        yield Truth(f"{base}/{title} - pour le site.jpg", who, title, "reference", "JPEG", 1500, 1000)


def _mixed_nordic(shop: Shop, w: Work) -> Iterator[Truth]:
    """Arkiv/2021/Efternamn - Titel (original/tryckoriginal); a piece's folder with the year first."""
    who, title = w.artist, w.title
    base = f"Arkiv/{w.year} {who}/{title}"
    yield Truth(f"{base}/{surname(who)} - {title} - original.tif", who, title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/delar/{title} {i + 1} av {w.tiles}.tif", who, title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/{surname(who)} - {title} - tryckoriginal {SIZES[i]} cm.tif", who, title, "print file")
    if w.web:
        yield Truth(f"{base}/{surname(who)} - {title} - webb.jpg", who, title, "reference", "JPEG", 1500, 1000)


def _mixed_japanese(shop: Shop, w: Work) -> Iterator[Truth]:
    """2021年/氏名様/題名/題名_スキャン_600dpi; 印刷 with a paper."""
    who, title = w.artist, w.title
    base = f"{w.year}年/{who}様/{title}"
    yield Truth(f"{base}/{title}_スキャン_600dpi.tif", who, title, "master")
    for i in range(w.tiles):
        yield Truth(f"{base}/スキャン元データ/{title}-{i + 1}.tif", who, title, "tile")
    for i in range(w.prints):
        yield Truth(f"{base}/印刷/{title}_A{i + 2}_和紙.tif", who, title, "print file")


EN2_ARTISTS = ("Tamsin Oakridge", "Julian Parr-Whitley", "Rosalind Tench", "Edgar Mullowney", "Bea Harkness")
EN2_TITLES = (
    "Estuary",
    "Green Lane",
    "The Last Print Works",
    "Copper Beech",
    "Wet Sand",
    "Original Sin",
    "Gulls over Roofs",
    "Window, East",
    "Nocturne 2",
    "Nocturne 5",
    "Lighthouse",
    "Chalk Stream",
    "A Map of Tiles",
    "First Frost",
    "Self Portrait",
    "Violet Hour",
    "Small Hours",
    "Beach Huts",
    "Ebb",
    "Flow",
    "Hedgerow",
    "Quarry",
    "Blackthorn",
    "Detail of a Life",
    "Turning Leaf",
    "The Reference Library",
    "Weir",
    "Lock Keeper",
    "Tin Roof",
    "Low Sun",
    "Bramble",
    "Coal Boat",
    "Rook Sky",
    "Ferryman",
    "Kale",
    "Ploughman",
    "Orchard Gate",
    "Two Chairs",
)
DE2_ARTISTS = ("Gudrun Eschenlohr", "Friedrich Papenkamp", "Ute Lorchheimer", "Matthias Quellental")
FR2_ARTISTS = ("Hélène Courbassac", "Lucien Marvejoul", "Odette Brissonnet", "Yves Tarnelle")
SV2_ARTISTS = ("Maria Strandvall", "Olof Ekenhjelm", "Linnea Bergsvala")
JA2_ARTISTS = ("高木由美", "森下健", "石井真理子", "中野大輔")

EN_ARTISTS = (
    "Nell Ashgrove",
    "John Wetherlam",
    "Mary Anna Leith",
    "Anna Leith",
    "Osbert Crane",
    "Prudence Marlowe-Dace",
    "Ivor Thistlewood",
    "Saoirse Kilbrannan",
)
EN_TITLES = (
    "Harbour",
    "Low Tide",
    "The Print Room",
    "The Final Harvest",
    "Spider web",
    "Grey Quay",
    "Blue Door",
    "Untitled 3",
    "Tides I",
    "Tides II",
    "Tides III",
    "Winter Copse",
    "Study in Red",
    "Carbon Copy",
    "Raw Silk",
    "Mill Pond",
    "Two Boats",
    "Seven Gulls",
    "Market Day",
    "Night Ferry",
    "Red Kite",
    "Half Light",
    "Old Master Joke",
    "Ash Tree",
    "Portrait of a Baker",
    "Kitchen Window",
    "October",
    "Salt Marsh",
    "Plough Lane",
    "Still Life with Jug",
    "Morning Fog",
    "Web of Lanes",
    "New Moon",
    "Proof of Rain",
    "Little Egret",
    "The Old Pier",
    "Stone Wall",
    "Rain on Slate",
    "Bread",
    "Mother and Child",
    "Cliff Path",
    "Fishing Nets",
    "Number 9",
    "Station 4",
)
DE_ARTISTS = ("Liesel Brandtner", "Hans Achtelfeld", "Jürgen Mooskamp", "Annegret Vielhaber", "Otto Siebenlist")
DE_TITLES = (
    "Haus am See",
    "Der letzte Druck",
    "Morgenlicht",
    "Stille Bucht",
    "Das alte Boot",
    "Rote Dächer",
    "Winterwald",
    "Am Fenster",
    "Fluss im Nebel",
    "Ohne Titel 4",
    "Große Welle",
    "Zwei Birnen",
    "Neue Brücke",
    "Straße nach Süden",
    "Kleines Stillleben",
    "Feld I",
    "Feld II",
    "Abend",
    "Kirschblüte",
    "Hafen",
    "Markttag",
    "Nordwind",
    "Die Probe",
    "Mondaufgang",
    "Obstgarten",
    "Alte Mühle",
    "Gewitter",
    "Tänzerin",
    "Moor",
    "Birkenweg",
    "Föhn",
    "Weißer Krug",
)
FR_ARTISTS = ("Claire Dubosquet", "Étienne Vaurac", "Marguerite Lanthier", "Noé Fontbrune", "Odile Harcamp")
FR_TITLES = (
    "Les citrons",
    "La petite plage",
    "Nu bleu",
    "L'été",
    "Le dernier tirage",
    "Matin gris",
    "Deux barques",
    "Sans toi",
    "Les toits",
    "Jardin d'hiver",
    "La fenêtre",
    "Pluie",
    "Marché",
    "Le pont neuf",
    "Nature morte",
    "Trois poires",
    "Falaise",
    "Port du soir",
    "Le vieux moulin",
    "Neige",
    "Champ de lin",
    "La jetée",
    "Oiseaux",
    "Brume",
    "Étude rouge",
    "Nuit claire",
    "Soleil bas",
    "Le chemin",
    "Vagues",
    "Grande marée",
    "Lumière",
    "Ombre et toile",
)
SV_ARTISTS = ("Astrid Lönnkvarn", "Gunnar Sjövik", "Karin Fjällros", "Nils Ödhammar")
SV_TITLES = (
    "Hav",
    "Vinterljus",
    "Röda stugan",
    "Sista trycket",
    "Stilla vatten",
    "Björkar",
    "Skärgård",
    "Midsommar",
    "Två båtar",
    "Norrsken",
    "Regn",
    "Den gamla bryggan",
    "Snö över fjäll",
    "Morgondis",
    "Kvällen",
    "Ängen",
    "Fyren",
    "Granskog",
    "Måsar",
    "Blå timme",
    "Åskväder",
    "Vägen hem",
    "Höst",
    "Lada",
    "Isen",
    "Fönstret",
    "Klippor",
    "Sommarregn",
)
ES_ARTISTS = ("Lucía Valdecuna", "Ramón Peñalosa", "Inés Torrecampo", "Pablo Orihuel")
ES_TITLES = (
    "Limones",
    "La última copia",
    "Playa de invierno",
    "El puerto",
    "Noche clara",
    "Barcas",
    "Calle vieja",
    "Sin título 2",
    "Los olivos",
    "Mercado",
    "Luz de tarde",
    "Viento sur",
    "Dos peras",
    "La ventana",
    "Campo rojo",
    "Lluvia",
    "Sierra",
    "Patio",
    "Mar en calma",
    "El molino",
    "Gaviotas",
    "Tejados",
    "Otoño",
    "Río lento",
    "Almendros",
    "La espera",
    "Sombra",
    "Camino",
    "Trigo",
    "Retrato azul",
)
JA_ARTISTS = ("田中花子", "佐藤健一", "山本直樹", "小林美咲")
JA_TITLES = (
    "海辺",
    "冬の朝",
    "赤い橋",
    "静かな港",
    "山",
    "かき",
    "がき",
    "桜",
    "雨の日",
    "夜の市場",
    "白い壺",
    "風",
    "月光",
    "紅葉",
    "古い船",
    "雪景色",
    "川沿い",
    "夏の終わり",
    "青い窓",
    "林檎",
    "鳥",
    "夕暮れ",
    "霧",
    "庭",
    "灯台",
    "秋の空",
    "竹林",
    "波",
)
ROMAJI_ARTISTS = ("Hanako Tanabe", "Kenji Morikage", "Yumi Asakuno", "Takeshi Oribata")

SHOPS = (
    Shop("by the sea", EN_ARTISTS, EN_TITLES, _artist_piece, noise=("to sort/scan0001.tif", "to sort/IMG_2231.jpg")),
    Shop("job numbers", EN_ARTISTS, EN_TITLES, _jobs, noise=("to sort/scan0004.tif", "to sort/Untitled-1.tif")),
    Shop("dashes", EN_ARTISTS, EN_TITLES, _flat_dashes),
    Shop("underscores", EN_ARTISTS[:1] + EN_ARTISTS[4:], EN_TITLES, _underscores),
    Shop("nachname", DE_ARTISTS, DE_TITLES, _german),
    Shop("aufträge", DE_ARTISTS, DE_TITLES, _german_orders),
    Shop("tirages", FR_ARTISTS, FR_TITLES, _french),
    Shop("commandes", FR_ARTISTS, FR_TITLES, _french_flat),
    Shop("konstnärer", SV_ARTISTS, SV_TITLES, _swedish),
    Shop("clientes", ES_ARTISTS, ES_TITLES, _spanish),
    Shop("作家", JA_ARTISTS, JA_TITLES, _japanese),
    Shop("romaji", ROMAJI_ARTISTS, EN_TITLES, _romaji),
    Shop("title first", EN_ARTISTS, EN_TITLES, _title_first),
    Shop(
        "three habits",
        EN2_ARTISTS,
        EN2_TITLES,
        _mixed_english,
        held_out=False,
        noise=("New folder/IMG_0012.jpg", "New folder/scan0007.tif", "from usb/Untitled-2.tif"),
    ),
    Shop("kunden", DE2_ARTISTS, DE_TITLES, _mixed_german, held_out=False),
    Shop("artistes", FR2_ARTISTS, FR_TITLES, _mixed_french, held_out=False),
    Shop("arkiv", SV2_ARTISTS, SV_TITLES, _mixed_nordic, held_out=False),
    Shop("様", JA2_ARTISTS, JA_TITLES, _mixed_japanese, held_out=False),
    *FRESH,
    *LAST,
    *CODED,
    *CLIENT_SHOPS,
    *SMALL,
    *HABITS,
)
