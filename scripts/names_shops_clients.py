"""An invented Portuguese shop that files by client and year, written before anything of the guessing was read.

Clients are a gallery, a hotel, a town, and a private collector whose name looks like an artist's; several artists come
through each, and in the last years an artist is a client too. The truth is what a careful reader of all paths could
say.
Every name is invented.
"""

from collections.abc import Iterator

from scripts.names_kinds import Shop, Truth, Work, joined
from scripts.names_shops_coded import made_file

CLIENT_ARTISTS = ("Benedita Farrolha", "Amílcar Vaz Torrão", "Leonor Quintarela", "Duarte de Moutedo",
                  "Zeferino Caldavinho", "Inês Palmeirol")
CLIENT_TITLES = (
    "Maré baixa", "Figueira", "A costureira", "Natureza-morta com romãs", "Sem título 4", "Sem título 5", "Eira",
    "O cais velho", "Azulejos", "Prova de vinho", "1974", "Impressão do sul", "Barcos I", "Barcos II", "Barcos III",
    "Nevoeiro", "Janela (manhã)", "Janela (noite)", "Os três pescadores", "Cópia de um sonho", "Salinas", "Fado",
    "Rua das Flores, 12", "Estendal", "A última fatia", "Moinho n.º 2", "Moinho n.º 3", "Olival", "Romaria", "Peixe",
    "Teia", "Retrato da avó", "Chuva em março", "Sobreiros", "Varanda", "Pão e azeite", "Original sem moldura",
    "Telhados", "Gaivota", "Quintal",
)
CLIENTS = ("Galeria Maré Cheia", "Hotel Pinhal da Serra", "Câmara de Vale Frio", "Albertina Sereno")


def _by_client(shop: Shop, w: Work) -> Iterator[Truth]:
    """Client, year, artist and title; then numbered orders below the year's clients; then artists as clients."""
    r, who, title = shop.dice, w.artist, w.title
    given, _, family = who.partition(" ")
    client = CLIENTS[(shop.artists.index(who) + r.randrange(2)) % len(CLIENTS)]
    if w.year <= 2019:
        base = f"Clientes/{client}/{w.year}/{who} - {title}"
        yield made_file(f"{base}/{title} matriz", w, who, "master")
        if w.rescan:
            yield made_file(f"{base}/{title} matriz nova digitalização", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}/captura {i + 1}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}/{('prova', 'tiragem')[i]} {('40x50', '50x70')[i]} algodão", w, who, "print file")
        if w.web:
            yield made_file(f"{base}/email", w, who, "reference")
    elif w.year == 2020:
        base = f"2020/{client}/OS {r.randrange(1000, 1400)}/{family}_{joined(title, '_')}"
        yield made_file(f"{base}_arte-final", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}_parte{i + 1}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}_impressao_{('A2', 'A3')[i]}_{('tela', 'fineart')[i]}", w, who, "print file")
        if w.web or w.detail:
            yield made_file(f"{base}_amostra", w, who, "reference")
    else:
        base = f"Clientes/{family}, {given}/{w.year}"
        yield made_file(f"{base}/{title}", w, who, "master")
        for i in range(w.tiles):
            yield made_file(f"{base}/partes/{title} {i + 1}-{w.tiles}", w, who, "tile")
        for i in range(w.prints):
            yield made_file(f"{base}/imprimir/{title} {('30x40', '60x80')[i]} ({r.randrange(1, 6)} ex)", w, who,
                            "print file")
        if w.web:
            yield made_file(f"{base}/telemóvel/{title}", w, who, "reference")


CLIENT_SHOPS = (
    Shop("clientes e anos", CLIENT_ARTISTS, CLIENT_TITLES, _by_client, held_out=True,
         noise=("por arrumar/digitalização 3.tif", "por arrumar/IMG_7741.jpg", "Ambiente de trabalho/Sem nome-1.tif")),
)
