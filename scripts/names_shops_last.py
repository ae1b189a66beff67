"""Four invented shops written when the guessing was done and looked at once before anything was changed for them.

A framer's with exhibitions, an estate catalogued by inventory numbers, a shop between two languages, a Korean one. The
truth is what a careful reader of all paths could say. Every name is invented.
"""

from collections.abc import Iterator

from scripts.names_kinds import Shop, Truth, Work, joined, surname

PAPERS = ("HFA Rag 308", "canvas", "Baryta", "etching")
INCHES = ("8x10", "11x14", "16x20", "24x36")


def _master(path: str, w: Work, artist: str) -> Truth:
    return Truth(path, artist, w.title, "master", width=15000, height=11800)


def _tile(path: str, w: Work, artist: str) -> Truth:
    return Truth(path, artist, w.title, "tile", width=8400, height=6300)


def _print(path: str, w: Work, artist: str) -> Truth:
    return Truth(path, artist, w.title, "print file", width=7200, height=5600)


def _photo(path: str, w: Work, artist: str, width: int = 2000) -> Truth:
    return Truth(path, artist, w.title, "reference", "JPEG", width, width * 3 // 4)


# -- a framer's: exhibitions, then customers ---------------------------------------------------------------------------

FRAMER_ARTISTS = ("Delphine Arrowood", "Marcus Tillinghast", "Ines Calloway", "Roscoe Venn", "Harriet Umberdale",
                  "Theo Blackpitt", "Juno Farthing")
FRAMER_TITLES = (
    "Catfish Creek", "Dry Dock", "Lemonade Stand", "The Proofreader", "Original Sin", "Clean Laundry", "Raw Deal",
    "County Fair at Night", "Mailboxes", "Hotel Lobby 2", "Hotel Lobby 3", "Untitled (Garage)", "Untitled (Porch)",
    "Scan the Horizon", "Copper Kettle", "Old Route 9", "Swimming Hole", "Two Aprons", "Jukebox", "Thaw", "Rowhouses",
    "Ice Cream Truck", "Fence Line", "November, Early", "Screen Door", "Peaches in a Bowl", "Switchyard", "Night Shift",
    "Church Supper", "Gravel Pit", "Snow on Cars", "Flood Stage", "Water Tower No. 5", "Water Tower No. 6",
)


def _framer(shop: Shop, w: Work) -> Iterator[Truth]:
    """Exhibitions with a checklist number, then customers' folders where the file's name has the family in capitals."""
    r, who, title = shop.dice, w.artist, w.title
    if w.year <= 2019:
        show = r.choice(("2018 Spring Open", "2019 Members Show", "Winter Salon"))
        base = f"EXHIBITIONS/{show}/{who}/{r.randrange(1, 60):02d}_{joined(title, '-')}"
        yield _master(f"{base}_MASTER.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}_section-{'ABCD'[i]}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}_PRINT_{INCHES[i]}_{PAPERS[i].replace(' ', '-')}.tif", w, who)
        if w.web:
            yield _photo(f"{base}_catalog.jpg", w, who)
    elif w.year == 2020:
        job = f"Customers/{surname(who)}, {who.split()[0]}/{w.year} {r.choice(('frames', 'giclee', 'scan + print'))}"
        yield _master(f"{job}/{title}.tif", w, who)
        if w.rescan:
            yield _master(f"{job}/{title} (reshoot).tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{job}/shots/{title} {i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{job}/To Printer/{title} {INCHES[i + 1]} {PAPERS[i]}.tif", w, who)
        if w.web:
            yield _photo(f"{job}/for email/{title} sm.jpg", w, who, 1200)
        if w.detail:
            yield _photo(f"{job}/for email/{title} signature.jpg", w, who)
    else:
        base = f"{w.year}/{r.randrange(1, 13):02d}-{r.randrange(1, 29):02d}/{surname(who).upper()} {title}"
        yield _master(f"{base} flat.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base} shot{i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base} {INCHES[i]} {PAPERS[i]} PROOF{'ED' if i else ''}.tif", w, who)
        if w.web:
            yield _photo(f"{base} sm.jpg", w, who, 1200)


# -- an estate: inventory numbers first --------------------------------------------------------------------------------

ESTATE_ARTISTS = ("Aurèle Vendangeur", "Blandine Corsaire", "Hugues de Malbranche", "Sidonie Écluse",
                  "Paul-Marie Gravier")
ESTATE_TITLES = (
    "Nature morte au pichet", "Le canal", "Étude de mains", "Place vide", "Baigneuses I", "Baigneuses II",
    "Baigneuses III", "La toile blanche", "Les tirages de minuit", "Copie d'après Éole", "Chantier naval", "Verger",
    "Pluie sur la halle", "L'atelier, rue Noire", "Hiver", "Femme au chapeau", "Péniche", "Les trois ponts", "1943",
    "Silo", "Marché aux laines", "Autoportrait", "Le dernier tramway", "Coquelicots", "Écluse fermée", "Dimanche",
    "Gare de triage", "Le vannier", "Brume sur l'étang", "Fenêtre ouverte", "Composition 12", "Composition 14",
    "Les lavandières", "Soir", "Cour intérieure", "La partie de cartes", "Tournesols fanés", "Rivière gelée",
    "Le pont-canal", "Deux sœurs", "Aube", "Meules",
)


def _estate(shop: Shop, w: Work) -> Iterator[Truth]:
    """Everything begins with an inventory number: in one year as folders, later in flat names."""
    r, who, title = shop.dice, w.artist, w.title
    number = f"{''.join(p[0] for p in who.split())}{r.randrange(1, 400):04d}"
    if w.year <= 2019:
        base = f"Inventaire/{surname(who)}/{number} {title}"
        yield _master(f"{base}/{number}_rec.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}/vues/{number}_v{i + 1}.tif", w, who)
        for i in range(w.prints):
            paper = ("30x40_Arches", "50x65_baryté")[i]
            yield _print(f"{base}/{number}_ex-{i + 1:02d}_{paper}.tif", w, who)
        if w.web:
            yield _photo(f"{base}/{number}_consultation.jpg", w, who, 1600)
    elif w.year == 2020:
        base = f"{who}/HD/{number} - {title}"
        yield _master(f"{base}.tif", w, who)
        if w.rescan:
            yield _master(f"{base} - bis.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{who}/tirages 2020/{number} - {title} - {('40x50', '24x30')[i]} cm.tif", w, who)
        if w.web:
            yield _photo(f"{who}/consultation/{number} - {title}.jpg", w, who, 1600)
        for i in range(w.tiles):
            yield _tile(f"{who}/vues partielles/{number} - {title} - vue {i + 1} sur {w.tiles}.tif", w, who)
    else:
        base = f"Lots/lot {r.randrange(1, 30)}/{title} ({who}, {r.randrange(1921, 1978)})"
        yield _master(f"{base} scan.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base} tirage {('A2', 'A3')[i]}.tif", w, who)
        if w.detail or w.web:
            yield _photo(f"{base} dos.jpg", w, who)


# -- between two languages ---------------------------------------------------------------------------------------------

BORDER_ARTISTS = ("Kerstin Flodmark", "Uwe Brandhagen", "Siv Åkerdal", "Jochen Tiefensee", "Anna-Lena Rosvik",
                  "Dr. Malte Overbeck")
BORDER_TITLES = (
    "Ebbe", "Flut", "Sanddorn", "Möwe (weiß)", "Möwe (grau)", "Sommarstuga", "Leuchtfeuer", "Hamnbassäng", "Röda huset",
    "Nebelhorn", "Vinterljus", "Der Kopist", "Fischbrötchen", "Klippor", "Masten", "Skrubbär 1", "Skrubbär 2",
    "Strandgut", "Ljudlös", "Fähre um fünf", "Åska", "Netzflicker", "Trossen", "Novemberhav", "Krabben", "Bryggdans",
    "Wattläufer", "Tryckeriet", "Druckstelle", "Kvällstidning", "Deichschafe", "Solnedgång över viken",
)


def _border(shop: Shop, w: Work) -> Iterator[Truth]:
    """German and Swedish words side by side, whoever happened to sit there; names without a system."""
    r, title = shop.dice, w.title
    name = w.artist.removeprefix("Dr. ")
    short = f"{name[0]}. {surname(name)}"
    who = {"Kerstin Flodmark": "Flodmark", "Anna-Lena Rosvik": "A. Rosvik"}.get(name, name)  # no path says more
    if w.year == 2018:
        base = f"{w.artist}/{title}"
        yield _master(f"{base}{r.choice(('', ' fertig', ' klar', ' final'))}.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base} {('vo', 'ho', 'vu', 'hu')[i]}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base} {r.choice(('Druck', 'tryck'))} {('50x70', '40x40')[i]}.tif", w, who)
    elif w.year == 2019:
        base = f"Server alt/Bilder/{surname(name)}/{joined(title, '_')}"
        yield _master(f"{base}/{joined(title, '_')}.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}/Scan {i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}/Ausdruck_{('A2', 'A3')[i]}_{joined(title, '_')}.tif", w, who)
        if w.web:
            yield _photo(f"{base}/hemsida.jpg", w, who, 1400)
    elif w.year == 2020:
        base = f"Kund {short}/{w.year}-{r.randrange(1, 13):02d}-{r.randrange(1, 29):02d} {title}"
        yield _master(f"{base}/{title}_orig.tif", w, who)
        if w.rescan:
            yield _master(f"{base}/{title}_orig2.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}/delar/{i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}/{title}_{('30x40', '60x80')[i]}_bomull.tif", w, who)
        if w.web:
            yield _photo(f"{base}/{title}_kundvisning.jpg", w, who)
    else:
        base = f"{w.year}/{surname(name)}-{title}"
        yield _master(f"{base}-o.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}-t{i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}-d-{('50x70', '30x30')[i]}.tif", w, who)
        if w.detail:
            yield _photo(f"{base}-handy.jpg", w, who, 4000)


# -- Korean ------------------------------------------------------------------------------------------------------------

KOREAN_ARTISTS = ("한소율", "민도현", "류가온", "백시우", "남궁이든")
KOREAN_TITLES = (
    "겨울 항구", "달빛", "푸른 창", "마지막 기차", "부엌", "정원 1",
    "정원 2", "무제 3", "무제 4", "섬", "고요한 밤", "오래된 다리",
    "붉은 배", "눈 오는 날", "인쇄소", "거미줄", "바다", "여름",
    "복사꽃", "빈 의자", "시장", "산길", "등대", "파도",
    "할머니의 손", "가을 소풍", "장독대", "우산", "새벽", "작은 집",
)


def _korean(shop: Shop, w: Work) -> Iterator[Truth]:
    """Artists' folders, then orders with 님; purposes in Korean."""
    r, who, title = shop.dice, w.artist, w.title
    if w.year <= 2019:
        base = f"작가별/{who}/{title}"
        yield _master(f"{base}/{title}_원본.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}/분할/{title}_{i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}/출력용/{title}_{('50x70', 'A3')[i]}_{('캔버스', '면')[i]}.tif", w, who)
        if w.web:
            yield _photo(f"{base}/{title}_웹용.jpg", w, who, 1600)
    elif w.year <= 2021:
        base = f"주문/{w.year}/{r.randrange(1, 13):02d}{r.randrange(1, 29):02d} {who}님"
        yield _master(f"{base}/{title} 최종{r.choice(('', '2', ' 수정'))}.tif", w, who)
        for i in range(w.tiles):
            yield _tile(f"{base}/스캔/{title} {i + 1}.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}/{title} 출력 {('30x40', '60x80')[i]}.tif", w, who)
        if w.web:
            yield _photo(f"{base}/{title} 확인용.jpg", w, who)
    else:
        base = f"{w.year}_보관/{who}_{title}"
        yield _master(f"{base}_원본.tif", w, who)
        for i in range(w.prints):
            yield _print(f"{base}_출력_A{i + 2}.tif", w, who)
        if w.web or w.detail:
            yield _photo(f"{base}_휴대폰.jpg", w, who, 4000)


LAST = (
    Shop("framer", FRAMER_ARTISTS, FRAMER_TITLES, _framer, held_out=True,
         noise=("Desktop/Scan 12.tif", "Desktop/IMG_9921.jpg", "Desktop/Untitled-2.tif")),
    Shop("estate", ESTATE_ARTISTS, ESTATE_TITLES, _estate, held_out=True,
         noise=("à classer/Numérisation 3.tif", "à classer/IMG_0021.jpg")),
    Shop("two languages", BORDER_ARTISTS, BORDER_TITLES, _border, held_out=True,
         noise=("Server alt/neu/Scan0004.tif", "diverse/IMG_4502.jpg")),
    Shop("작가별", KOREAN_ARTISTS, KOREAN_TITLES, _korean, held_out=True,
         noise=("미정리/scan001.tif", "미정리/IMG_3301.jpg")),
)
