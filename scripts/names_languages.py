"""Words that invented shops of many languages write into names: titles, purposes, folders, and people's names.

Every family name is invented. Half of the languages are ones whose purpose words the catalogue's vocabulary lacks.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Language:
    """``roots`` hold artists, ``jobs`` hold orders, ``unsorted`` what nobody filed."""

    given: tuple[str, ...]
    family: tuple[str, ...]
    nouns: tuple[str, ...]
    adjectives: tuple[str, ...]
    links: tuple[str, ...]
    untitled: str
    master: tuple[str, ...]
    tile: tuple[str, ...]
    prints: tuple[str, ...]
    web: tuple[str, ...]
    detail: tuple[str, ...]
    version: tuple[str, ...]
    paper: tuple[str, ...]
    roots: tuple[str, ...]
    jobs: tuple[str, ...]
    unsorted: tuple[str, ...]
    galleries: tuple[str, ...]


def _split(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("|"))


def _language(text: str) -> Language:
    return Language(*(
        line.strip() if number == 5 else _split(line) for number, line in enumerate(text.strip().splitlines())))


LANGUAGES = {name: _language(text) for name, text in {
    "English": """
    Margaret|Rufus|Cordelia|Owen|Imogen|Percival|Tamsin|Barnaby|Winifred|Lorcan|Mary Anna|Hester|Joss
    Harrowdean|Quillbrook|Thistlewick|Pennymoor|Dray-Marlow|Wexham|Aldercombe|Fennimore|Saltmarsh|Oakhanger|Brindlecote
    Harbour|Low Tide|Kitchen|Orchard|Web|Print Room|Lighthouse|Garden|Moor|Proof|Ferry|Boats|Window|Master|Shore|Tile
    Blue|Quiet|Last|Broken|Small|Final|Northern|Old
    of the|and|at|under the
    Untitled
    master|scan|original|hires|flat
    tile|part|capture|piece|pass
    print|printfile|for print|output|giclee
    web|for web|lowres|preview|insta
    detail|close-up|crop detail
    final|FINAL|edit|v2|v3|retouched|colour corrected|approved|final final
    matte|canvas|cotton rag|lustre
    Artists|Artist Files|Scans|Archive|Clients
    Jobs|JOBS|Orders|Work orders
    to sort|new|from USB|misc|desktop dump
    Gull Lane Gallery|North Pier Arts|Tidewater Framing
    """,
    "German": """
    Regula|Beat|Vreni|Annelies|Hartmut|Friedhelm|Gesine|Wiebke|Ruprecht|Sieglinde|Torben|Anna Lena
    Ambühlen|Stöckenried|Hagenmattler|Tannwiler|Oberfluhr|Frohnackel|Grünspan-Loh|Mückenbach|Weissenrode|Kaltenhof
    Hafen|Gletscher|Stillleben|Küche|Netz|Abdruck|Garten|Nebel|Brücke|Fenster|Meister|Kachel|Probe|Winter|Mühle|Boote
    Blauer|Stiller|Letzter|Grosse|Kleiner|Roter
    am|mit|im|ohne
    Ohne Titel
    Master|Scan|Original|Endfassung|montiert
    Teil|Kachel|Aufnahme|Teilscan
    Druck|Druckdatei|Druckdaten|Ausgabe|Proof
    web|Vorschau|klein|für Kunde|insta
    Detail|Ausschnitt
    final|korr|neu|v2|bearbeitet|freigegeben|korr2
    Hadern|Leinwand|Bütten|matt
    Künstler|Archiv|Scans|Kunden
    Aufträge|Auftragsarchiv|Jobs
    neu|unsortiert|Eingang|vom Stick
    Galerie Nordrand|Kunsthaus Lohmühl
    """,
    "French": """
    Solène|Jean-Baptiste|Maëlle|Anatole|Ghislaine|Théophile|Capucine|Aurélien|Marie Laure|Odile
    Ormelle|Haubrecourt|Trévissard|de la Brenne|Falconet|Montrésy|Vauxclair|Perdrigeon|Lecourtel|Sablonnier
    Port|Marée basse|Cyprès|Toile|Atelier|Jardin|Volets|Quai|Épreuve|Citrons|Neige|Fenêtre|Maître|Mistral|Barques
    Bleu|Dernier|Petit|Vieux|Grand
    du|et|sous le|sans
    Sans titre
    master|numérisation|original|assemblé|haute def
    partie|tuile|prise|morceau
    tirage|impression|épreuve|sortie
    web|aperçu|basse def|pour client|vignette
    détail|gros plan
    définitif|retouché|v2|corrigé|bon à tirer|final
    papier mat|toile|coton|baryté
    Artistes|Fonds|Numérisations|Clients
    commandes|Commandes|Dossiers
    à trier|nouveau|divers|clé usb
    Galerie du Môle|Atelier Trois Ponts
    """,
    "Swedish": """
    Gunvor|Torsten|Birgitta|Stellan|Ingemar|Solvei|Folke|Ragnhild|Anna Karin|Hjördis
    Almkvarn|Strömvall|Björkeryd|Havsklint|Lundsäter|Öbrink|Granhed|Sjövik|Tallmyr|Rönnskog
    Hamn|Vinter|Kök|Skärgård|Ljus|Båtar|Fönster|Trädgård|Tryck|Ö|Snö|Fyr|Mästaren|Brygga
    Blå|Stilla|Sista|Gammal|Liten
    vid|och|utan|i
    Utan titel
    master|original|skanning|sammansatt
    del|ruta|delskan|bit
    tryck|utskrift|tryckoriginal|print
    webb|förhandsvisning|liten|kund
    detalj|närbild
    slutlig|klar|ny|v2|rättad|godkänd
    duk|bomull|matt papper
    Konstnärer|Arkiv|Skanningar|Kunder
    Beställningar|Jobb|Ordrar
    osorterat|nytt|blandat|usb
    Galleri Kajplats|Konsthall Norrgrund
    """,
    "Spanish": """
    Joaquín|Graciela|Remedios|Eulogio|Macarena|Baltasar|María José|Nicanor|Purificación|Leandro
    Quintanilla Olmedal|Arreboles|Saldaño|Peñaverdal|Montesclaro|Vilarillo|Castroluz|Almenara Sotos|Ribazal|Olivenzo
    Salinas|Puerto|Cocina|Ventana|Naranjas|Barcas|Retrato|Prueba|Maestro|Siesta|Azulejo|Invierno|Patio|Mercado
    Azul|Último|Viejo|Pequeño|Roto
    de|y|sin|en el
    Sin título
    master|original|escaneo|montaje
    parte|toma|trozo|fragmento
    impresión|copia para imprimir|salida|imprenta
    web|vista previa|para cliente|redes
    detalle|firma
    definitivo|retocado|v2|corregido|final|aprobado
    lienzo|algodón|papel mate
    Artistas|Archivo|Escaneos|Clientes
    Pedidos|Encargos|Trabajos
    sin ordenar|nuevo|varios|del usb
    Galería Rompeolas|Sala Tres Pozos
    """,
    "Italian": """
    Amedeo|Chiara|Ginevra|Ludovico|Ortensia|Teodoro|Fiammetta|Maria Pia|Corrado|Nives
    Scarpellari|Bellonzi|Falconesi|Ormezzano|della Roggia|Trevisaghi|Campofiore|Montebruna|Vallescura|Ripalta
    Notturno|Porto|Cucina|Limoni|Ragnatela|Finestra|Stampa|Prova|Maestro|Barche|Neve|Giardino|Vicolo|Terrazza
    Blu|Ultimo|Vecchio|Piccolo|Rosso
    di|e|senza|al
    Senza titolo
    master|originale|scansione|montaggio
    parte|riquadro|scatto|pezzo
    stampa|file di stampa|prova colore|uscita
    web|anteprima|per cliente|bassa
    dettaglio|particolare
    definitivo|corretto|v2|ritoccato|finale|ok stampa
    cotone|tela|carta opaca
    Artisti|Archivio|Scansioni|Clienti
    lavori|Ordini|Commesse
    da sistemare|nuovo|vari|da usb
    Galleria Molo Nove|Bottega Tre Lune
    """,
    "Dutch": """
    Joost|Anneke|Femke|Wout|Tineke|Gijsbert|Marloes|Diederik|Aaltje|Saskia
    van den Eikel|van Stroombos|de Zilverman|Houtrijk|Kerkdriesen|ter Wolde|Dijkgraver|Molenbrug|Zandwerven|Veenstraten
    Polder|Haven|Keuken|Tulpen|Spinnenweb|Raam|Afdruk|Proef|Meester|Boten|Sneeuw|Tuin|Wad|Dijk|Molen|Stilte
    Blauwe|Laatste|Oude|Kleine|Stille
    bij|en|zonder|van
    Zonder titel
    origineel|scan|master|samengevoegd
    deel|opname|deelscan|stuk
    druk|afdruk|drukbestand|giclée
    web|voorbeeld|voor klant|klein
    detail|uitsnede detail
    def|bewerkt|definitief|v2|akkoord|gecorrigeerd
    katoen|canvas|mat papier
    Kunstenaars|Archief|Scans|Klanten
    Opdrachten|OPDRACHTEN|Bestellingen
    nieuw|uitzoeken|van usb|diversen
    Galerie Kade Zes|Atelier De Lange Gang
    """,
    "Polish": """
    Bożena|Zbigniew|Wacława|Mirosław|Grażyna|Czesław|Dobrosława|Kazimierz|Jadwiga|Bogumił
    Wierzbnowska|Kołodziejak|Jaworzyński|Strumiłło|Zalesicki|Brzozdowicz|Modrzewna|Olszanek|Piaskowicz|Gralewska
    Port|Zima|Kuchnia|Łodzie|Okno|Ogród|Odbitka|Mistrz|Śnieg|Most|Młyn|Cytryny|Cisza|Latarnia
    Niebieski|Ostatni|Stary|Mały|Czerwona
    w|i|bez|na
    Bez tytułu
    skan|oryginał|złożone|główny
    część|fragment|kafel|ujęcie
    wydruk|do druku|druk
    podgląd|www|dla klienta|miniatura
    szczegół|zbliżenie
    ostateczny|poprawione|wersja 2|zatwierdzone|po korekcie
    płótno|bawełna|papier mat
    Artyści|Archiwum|Skany|Klienci
    Zlecenia|Zamówienia
    nieposortowane|nowe|różne
    Galeria Molo|Pracownia Trzy Wierzby
    """,
    "Czech": """
    Božena|Zdeněk|Ludmila|Bohumil|Květa|Jaromír|Drahomíra|Oldřich|Vlasta|Radovan
    Hrušinková|Vrbenský|Javorníček|Skalovec|Podlesná|Brodecký|Lipovský|Kamenická|Ostružník|Dubanová
    Přístav|Zima|Kuchyně|Lodě|Okno|Zahrada|Otisk|Mistr|Sníh|Most|Mlýn|Citrony|Ticho|Zkouška
    Modrý|Poslední|Starý|Malý|Tichá
    v|a|bez|u
    Bez názvu
    sken|originál|složené|hlavní
    část|díl|dlaždice|snímek
    tisk|pro tisk|výtisk|nátisk
    náhled|pro klienta|malé
    výřez|detail
    finální|opraveno|verze 2|schváleno|po korektuře
    plátno|bavlna|matný papír
    Umělci|Archiv|Skeny|Zákazníci
    Zakázky|Objednávky
    nezařazené|nové|různé
    Galerie Na Hrázi|Ateliér Tři Duby
    """,
    "Finnish": """
    Aulikki|Veikko|Sirkka|Taisto|Helmi|Ilmari|Tuulikki|Jorma|Päivi|Anneli
    Harjunsalo|Koivumaanen|Suvirinne|Lehtokari|Vesterholma|Kallioniemelä|Rantasuo|Mäntykorpi|Hietavuo|Saarenpuro
    Satama|Talvi|Keittiö|Veneet|Ikkuna|Puutarha|Vedos|Mestari|Lumi|Silta|Mylly|Hiljaisuus|Majakka|Ranta
    Sininen|Viimeinen|Vanha|Pieni|Punainen
    ja|ilman|alla|luona
    Nimetön
    skannaus|alkuperäinen|koottu|päätiedosto
    osa|ruutu|otos|pala
    tuloste|tulostus|painoon|vedostus
    verkkoon|esikatselu|asiakkaalle|pieni kuva
    yksityiskohta|lähikuva
    valmis|korjattu|versio 2|hyväksytty|muokattu
    kangas|puuvilla|mattapaperi
    Taiteilijat|Arkisto|Skannaukset|Asiakkaat
    Tilaukset|Työt
    lajittelematta|uudet|sekalaiset
    Galleria Laituri|Paja Kolme Mäntyä
    """,
    "Hungarian": """
    Piroska|Zoltán|Ildikó|Győző|Enikő|Béla|Gyöngyi|Kálmán|Sarolta|Dezső
    Fűzligeti|Vadasréti|Kőhalmos|Mezőberki|Tóváros|Almásdi|Bíborvölgyi|Hársalja|Nádasfői|Szélkúti
    Kikötő|Tél|Konyha|Csónakok|Ablak|Kert|Lenyomat|Mester|Hó|Híd|Malom|Csend|Próba|Part
    Kék|Utolsó|Régi|Kicsi|Piros
    és|a|alatt|nélkül
    Cím nélkül
    szkennelés|eredeti|összefűzött|mester fájl
    rész|csempe|felvétel|darab
    nyomat|nyomtatás|nyomdai|próbanyomat
    webre|előnézet|ügyfélnek|kicsi kép
    részlet|közeli
    végleges|javított|2. változat|jóváhagyott|retusált
    vászon|pamut|matt papír
    Művészek|Archívum|Szkennek|Ügyfelek
    Megrendelések|Munkák
    rendezetlen|új|vegyes
    Galéria a Mólón|Három Fűz Műhely
    """,
    "Turkish": """
    Nurhan|Haluk|Sevgi|Cengiz|Feride|Tuncay|Gülizar|Orhun|Nesrin|Bülent
    Çınarlıkoy|Denizkıyı|Karaçamlı|Gündoğmaz|Şirinyol|Taşköprülü|Yelkenci|Ovabaşı|İncirlik|Söğütdere
    Liman|Kış|Mutfak|Tekneler|Pencere|Bahçe|Baskı|Usta|Kar|Köprü|Değirmen|Sessizlik|Deneme|Kıyı
    Mavi|Son|Eski|Küçük|Kırmızı
    ve|ile|altında|olmadan
    İsimsiz
    tarama|orijinal|birleşik|ana dosya
    parça|karo|çekim|bölüm
    baskı|baskıya|çıktı|prova
    önizleme|müşteriye|küçük|internet
    ayrıntı|yakın çekim
    son hali|düzeltilmiş|sürüm 2|onaylı|rötuşlu
    tuval|pamuk|mat kağıt
    Sanatçılar|Arşiv|Taramalar|Müşteriler
    Siparişler|İşler
    düzenlenecek|yeni|çeşitli
    Galeri Rıhtım|Üç Çınar Atölyesi
    """,
    "Japanese": """
    遥|誠|すみれ|ミチル|小夜|一平|千景|蓮|のどか|柊子
    浅霧|白鷺坂|森野|遠瀬|暮橋|雪柳|石蕗|瀬戸口|霧島野|青砥原
    港|波|窓|海辺|朝顔|原画展|台所|雪|橋|蜘蛛の巣|試し刷り|名人|船|庭|静けさ
    青い|最後の|古い|小さな|赤い
    の|と
    無題
    原本|完成|合成|マスター
    分割|部分スキャン|区画
    印刷|入稿用|出力|プリント
    ウェブ|確認用|スマホ|縮小
    部分|拡大
    最終|修正|修正済|色調整|校了
    和紙|画布|マット紙
    作家|作家別|アーカイブ|顧客
    注文|受注|案件
    未整理|新規|その他
    岬画廊|三本松工房
    """,
    "Russian": """
    Аглая|Ростислав|Зинаида|Мирон|Клавдия|Елисей|Таисия|Лукьян|Варвара|Игнат
    Озеринская|Берестовский|Камышева|Заречин|Полынская|Ветлужский|Дубравина|Соснорядов|Ольховец|Лодейникова
    Гавань|Зима|Кухня|Лодки|Окно|Сад|Оттиск|Мастер|Снег|Мост|Мельница|Тишина|Проба|Маяк
    Синий|Последний|Старый|Малый|Красная
    и|без|под|у
    Без названия
    скан|оригинал|сборка|исходник
    часть|фрагмент|кадр|кусок
    печать|в печать|отпечаток|вывод
    превью|клиенту|мелкая
    деталь|крупно
    итог|правка|версия 2|утверждено|ретушь
    холст|хлопок|матовая бумага
    Художники|Архив|Сканы|Заказчики
    Заказы|Работы
    разобрать|новое|разное
    Галерея Причал|Мастерская Три Ивы
    """,
}.items()}
