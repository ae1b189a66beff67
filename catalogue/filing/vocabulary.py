"""Words shops write into file and folder names, in the languages they use.

All of it is common practice, no source. Words are compared casefolded or folded. A word listed here is never removed
from the middle of a title, and from its end only with a further reason, see :mod:`catalogue.filing.titles`.
"""

from catalogue.filing.folding import fold


def _word_set(text: str) -> frozenset[str]:
    """Words as written, and as folded where enough letters are left to tell them ("artyści", "artysci"; not "rå")."""
    written = text.split()
    return frozenset((*written, *(folded for word in written if len(folded := fold(word)) > 2 and " " not in folded)))


PRINT = _word_set("""
    print prints printed printing printfile printfiles printready forprint proofprint output druck drucke drucken
    druckdatei druckdateien druckfertig impression impressions imprimer tirage tirages impresión impresiones imprimir
    tryck utskrift utskrifter tryckfil tryckfiler stampa stampe afdruk プリント 印刷 印刷用 入稿 出力 drukbestand
    drukbestanden drukwerk andruck afdrukken impressão trykfil trykfiler tryk trykkefil prueba prova ausdruck ausdrucke
    giclée druk wydruk wydruki tisk výtisk tuloste tulostus vedos nyomat nyomtatás baskı çıktı печать отпечаток вывод
    출력 출력용 인쇄 인쇄용 trykk trykkfil
""")
DETAIL = _word_set("""
    detail details détail détails detalle detalles detalj detaljer ausschnitt 詳細 部分図 uitsnit dettaglio dettagli
    pormenor деталь szczegół zbliżenie výřez yksityiskohta részlet ayrıntı
""")
REFERENCE = DETAIL | _word_set("""
    site web webb website webpage internet online lowres thumb thumbs thumbnail preview previews vorschau aperçu
    vignette förhandsvisning phone handy mobil mobile photo photos snapshot snapshots ref refs references referenz
    référence referencia referens email mail small klein petit pequeño liten 参考 ウェブ 縮小 klant kunde client kundin
    kundenansicht voorbeeld ansicht móvil telefoon mobiel telemóvel catalog catalogue consultation handyfoto handybild
    hemsida kundvisning anteprima podgląd náhled esikatselu előnézet önizleme превью dos signature firma 웹용 확인용
    휴대폰 スマホ 確認用 bilde nettside
""")
TILE = _word_set("""
    tile tiles capture captures kachel kacheln teilscan teilscans teile tuile tuiles partie parties morceaux ruta rutor
    delskanning delskanningar delar tesela teselas trozo trozos partes parts stitching segments タイル 分割 deelscan
    deelscans deel delen teilaufnahme teilaufnahmen aufnahme aufnahmen toma tomas parti opname opnamen billede
""")
RAW = _word_set("raw raws roh rohscan rohscans rohdaten brut bruts bruto brutos rå råskanning råskanningar 生データ")
MASTER = _word_set("""
    master masters original originals originale stitched merged montiert zusammengesetzt assemblé assemblée montado
    montaje hopsatt ihopsatt sammansatt archive archiv rescan rescans neuscan scan scans hires highres fullres full
    マスター 原本 原画 合成 origineel digitalização digitalizado numérisé numérisation scansione assemblage montage
    samlet gesamt
""")
VERSION = _word_set("""
    final finale finalfinal endfassung fertig définitif def slutlig klar copy kopie copie copia kopia コピー new neu
    edit edited bearbeitet retouched retusche retuschiert corrected korrigiert korr corrigé corregido rättad flat
    flattened resaved ok approved cropped clean cleaned test proof alt old 最終 完成 修正 definitivo definitivi
    definitiva bewerkt uitsnede retouché retouchée corretto corretta recortado editado editada crop bewerkter neuer
    redigeret beskåret færdig endelig finished
""")
COPY = _word_set("copy kopie copie copia kopia コピー")
MATERIAL = _word_set("""
    canvas leinwand toile lienzo duk キャンバス rag cotton baryta matte matt mat gloss glossy satin lustre paper papier
    papel papper 紙 bütten buetten fineart hadernpapier bomull coton algodón watercolour aquarellpapier hadern cotone
    algodão linnen doek katoen textured lærred tela leinen 光沢 和紙 画布 マット紙 半切 四切
""")
COLOUR = _word_set("rgb srgb adobergb adobergb1998 prophoto ecirgb cmyk greyscale grayscale icc")

# Folders that say where a shop keeps things, not what they are.
ARTISTS = _word_set("""
    artist artists artiste artistes artista artistas artisti künstler kuenstler künstlerinnen konstnär konstnärer
    kunstenaar kunstenaars kunstner kunstnere kunstnerne umělci artyści taiteilijat művészek sanatçılar художники
    painters maler målare peintres pintores 作家 画家 作家別 작가 작가별
""")
SHELF = _word_set("""
    jobs job to sort sorted unsorted various archive archived archiv archives archivo arkiv scans scan scanned scanning
    client clients customer customers kunde kunden künstler kuenstler künstlerinnen artist artists artiste artistes
    artista artistas cliente clientes konstnär konstnärer kund kunder 作家 顧客 お客様 注文 アーカイブ スキャン 画家 new
    neu neue nya nouveau nouveaux nuevo nuevos done finished fertig erledigt inbox incoming eingang inkommande entrada
    entrées old alt alte ancien anciens viejo gammal gamla desktop backup backups sicherung sauvegarde säkerhetskopia
    copia bilder bild images image pictures files work works werk werke arbeiten œuvre œuvres obra obras verk 作品 仕事
    temp tmp todo do shop studio atelier disk platte disque disco usb stick key from the of and downloads download
    transfer export exports exporte data daten folder ordner dossier mapp carpeta year years paintings painting drawings
    drawing gemälde zeichnungen peintures dessins målningar teckningar pinturas dibujos all alle tous todos alla jahr
    jahre année années år año años orders order aufträge auftrag commandes commande pedidos pedido beställningar
    beställning invoices rechnungen factures facturas fakturor und et y och für pour para för ready large grand groß
    small misc. diverse divers varios blandat 未整理 整理済 新規 その他 年 月 main primary nas server share exhibition
    exhibitions show shows ausstellung ausstellungen exposition expositions utställning exposición fair group calendar
    kalender cards karten postkarten landscapes portraits abstracts florals watercolours landschaften paysages landskap
    paisajes january february march april may june july august september october november december januar februar märz
    mai juni juli oktober dezember janvier février mars avril juin juillet août septembre octobre novembre décembre
    enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre januari februari maj
    augusti jan feb mar apr jun jul aug sep sept oct okt nov dez ok nieuw nuovo nuovi nowe nové uudet új yeni новое vari
    diversen různé różne sekalaiset vegyes çeşitli разное unsortiert uitzoeken nieposortowane nezařazené lajittelematta
    rendezetlen düzenlenecek разобрать mrt mei maa avr juil aoû déc ene abr ago dic gen mag giu lug set ott tammi helmi
    clienti klienci zákazníci asiakkaat ügyfelek müşteriler заказчики artysty artyści umělci taiteilijat művészek
    sanatçılar художники archiwum arkisto archívum arşiv архив skany skeny skannaukset szkennek taramalar сканы zlecenia
    zakázky tilaukset megrendelések siparişler заказы commesse encargos 작가별 작가 주문 보관 미정리 kunstenaars
    kunstenaar kunstnere kunstner opdrachten opdracht encomendas encomenda fonds fondo numérisé archivio lavori artisti
    pittori malere bestillinger ordini 作家別 別 年度 künstlerin prints printer printed maart augustus marts
""")

# Names that scanners, cameras and programs give by themselves; whole names, digits and separators apart.
DEVICE = _word_set("""
    scan scn scanned scanner img image imagem imagen imgp dsc dscf dscn pict picture bild foto photo cci ccf
    numérisation num escanear escaneo escaneado skanning skannad skan inskannad untitled unbenannt sanstitre sintítulo
    namnlös naamloos download unknown page seite sida página document dokument doc file datei fichier capture new neu
    pano panorama スキャン 名称未設定 画像 写真 文書 無題
""")

POSITION = _word_set("""
    left right top bottom upper lower middle centre center tl tr bl br links rechts oben unten mitte haut bas gauche
    droite milieu arriba abajo izquierda derecha centro vänster höger övre nedre mitten ul ur ll lr lo ro lu ru 左 右 上
    下 左上 右上 左下 右下 ol or hg hd bg bd
""")
HONORIFIC = _word_set("herr frau mr mrs ms miss dr prof mme mlle monsieur madame señor señora sr sra herrn")
HONORIFIC_AFTER = ("様", "さん", "先生", "氏", "님", "씨", "작가")

# What stands before a person's name in a folder's: "Kund M. Overbeck".
CALLED = _word_set("""
    kund kunde kundin client cliente clienta customer klant klient zákazník asiakas ügyfél müşteri заказчик artist
    artiste artista künstler künstlerin konstnär kunstenaar artysta umělec taiteilija művész sanatçı художник
""")

NUMERO = _word_set("no no. nr nr. nº n° number nummer numéro numero número 第")
UNTITLED = _word_set("untitled unbenannt sans sin namnlös ohne utan 無題")

# Words that join others in titles; no person is called so, and a title is not made of them alone.
FUNCTION = _word_set("""
    the a an of and or in on at by with without for from to under over near after before into as is my our her his no
    der die das den dem des ein eine einer eines im am auf aus bei mit nach und vom von zu zum zur über unter ohne vor
    hinter beim ins le la les l un une du d et en au aux sur sous avec sans dans chez pour par el los las una unos y o
    del al con sin sobre bajo entre por para ett och i på av med till från vid utan efter det nr nº
""")

# Houses that bring artists' work to a shop; common names of them.
INSTITUTIONS = _word_set("""
    gallery galleries galerie galerien galleria gallerie galería galerías galeri galleri galleriet galéria galerija
    галерея museum museo musée múzeum müze museet kunsthaus kunsthalle konsthall kunsthal kunstverein kunstforening
    konstförening ateliers ateliér ateljé ateljee studio pracownia műhely atölyesi atölye мастерская bottega taller
    oficina werkstatt workshop framing framers framer frames rahmen cadre encadrement encadreur arts artspace foundation
    stiftung fondation fundación fundacja nadace säätiö alapítvány vakfı fondazione academy akademie verlag publishing
    publishers éditions ediciones edizioni förlag sala paja salon
""")
INSTITUTION_ENDS = ("画廊", "工房", "美術館", "ギャラリー", "画材店", "財団")

# Words that lead from a title to a purpose: "Harbour for print", "Port pour client".
PURPOSE_LINKS = _word_set("for to für zum zur an pour à voor para per för till til til dla do pro pre na la")

# Small words inside a person's name.
PARTICLES = _word_set("van von der den de del della di da dos das du la le el al bin ibn af av zu ten ter mac mc o")

# Given names that tell a person from a title; from memory. Missing ones only make a guess less certain.
GIVEN = _word_set("""
    ada adam adèle agnes aileen alan albert alejandra alejandro alex alexander alexandra alfred alice alicia alma amalia
    amelia amélie ana anders andrea andreas andré andrés andrew angela angus anita anja anke anna anne annika antoine
    anton antonia antonio arne arthur arturo astrid audrey axel barbara beatrice beatriz ben benjamin bernd bernard
    birgit björn brian brigitte britta bruno camille carl carla carlos carmen carol carolina caroline catherine cecilia
    cécile charles charlotte chloé christian christina christine christoph clara claire claude claudia clémence colette
    colin consuelo cornelia cristina daniel daniela david deborah denis diana diego dieter dolores dominik dominique
    donald dora doris dorothea duncan edgar edith eduardo edward eileen elena eleanor elin elisabeth elise elizabeth
    ella ellen elsa emil emilia emilie émile emily emma enrique eric erik erika ernst ester esther eva eve evelyn fabian
    felipe felix ferdinand fernando fiona florence frances francis francisco françois françoise frank franz fredrik
    frida friedrich gabriel gabriela gabriele gareth georg george georges gerhard gerd gertrud gilbert gisela gloria
    gordon grace greta guillermo gunnar gustav hanna hannah hanne hans harald harold harriet harry hedda hedwig heike
    heinrich heinz helen helena hélène helga helmut henri henriette henrik henry herbert hilda hilde horst hugo ian ida
    ignacio ilse inés inga ingeborg inger ingrid irene iris irma isabel isabella isabelle isla ivan ivar jack jacqueline
    jacques jakob james jan jana jane janet javier jean jeanne jennifer jens jessica joachim joan joanna johan johann
    johanna john jonas jonathan jorge josé josef joseph josephine juan judith jules julia julian julie julien julio
    jürgen jutta karen karin karl karla karolina katarina kate katharina katherine kathleen katja keith kenneth kerstin
    kevin kirsten klara klaus konrad kristin kristina kurt lars laura laurent léa leif leila lena leo léon leonard
    leonora lina linda linnéa lisa liv lotta lotte louis louisa louise lucas lucía lucie lucien ludwig luis luisa lukas
    lutz lydia mabel madeleine magdalena magnus malin manfred manon manuel manuela marc marcel marco margaret margareta
    margarete margarita margit margot maría marian marianne marie marina mario marion mark markus marlene marta martha
    martin martina mary mathilde mats matthew matthias maud maurice max maya mercedes meike michael michel michelle
    miguel mikael mildred monica monika monique moritz muriel nadia nadine natalie nathalie nell niall nicholas nicolas
    nicole niklas nils nina noah noel nora norbert norma odette ola olaf oliver olivia olof oscar oskar otto owen pablo
    pascal patricia patrick paul paula paulina pedro peggy per peter petra philip philippe pia pierre pilar rachel
    rafael ragnar rainer ralf ramón raúl rebecca regina reinhard rené renate ricardo richard rita robert roberto roger
    roland rolf rosa rosalie rose rosemary roy rudolf rune ruth sabine sally samuel sandra sara sarah sebastian sibylle
    sigrid silvia simon simone sofia sofie solveig sonia sonja sophia sophie stefan stefanie stella stephan stephen
    steven stina susan susanna susanne sven svea sylvia sylvie tamara tanja teresa theo theodor theresa thérèse thomas
    tilda tim tina tobias tom tomás tove trude ulf ulla ulrich ulrike ursula uta uwe valentina valérie vera verena
    veronika victor victoria viktor vilma vincent viola violet vivian walter waltraud wanda werner wilhelm wilhelmina
    willem william winifred wolfgang xavier ximena yann yolanda yves yvonne yvette zoé åke åsa örjan aiko akane akemi
    akira asami ayaka ayumi chiyo daisuke emi eriko fumiko hana hanako haruka haruki haruko hideo hiroko hiroshi ichiro
    isamu jiro junko kaede kaori kazuko kazuo keiko keita kenji kenta kiyoshi koji kumiko kyoko mai makoto mami mariko
    masako masao mayumi megumi michiko midori miho mika miki minoru misaki mitsuko miyuki naoko naoto natsuki noboru
    nobuo norio reiko rie rika ryo ryota sachiko sakura satoshi sayuri shigeru shinji shiro shoko sota sumiko susumu
    tadashi takashi takeshi takumi tamiko taro tatsuya tetsuo tomoko toshio tsutomu yasuko yoko yoshiko yuji yuka yukiko
    yuko yumi yumiko yutaka
""")

# Family names written in Chinese characters, the commonest; from memory.
KANJI_FAMILY = tuple("""
    佐々木 佐藤 鈴木 高橋 田中 伊藤 渡辺 渡邊 山本 中村 小林 加藤 吉田 山田 山口 松本 井上
    木村 斎藤 斉藤 清水 山崎 阿部 池田 橋本 石川 前田 藤田 小川 岡田 後藤 長谷川 村上 近藤
    石井 坂本 遠藤 青木 藤井 西村 福田 太田 三浦 藤原 岡本 松田 中川 中野 原田 小野 竹内
    金子 和田 中山 石田 上田 森田 酒井 柴田 横山 宮崎 宮本 内田 高木 安藤 谷口 大野 丸山
    今井 河野 藤本 村田 武田 上野 杉山 増田 平野 大塚 千葉 久保 松井 小島 岩崎 桜井 野口
    松尾 木下 野村 菊地 佐野 大西 杉本 新井 浜田 菅原 市川 水野 島田
""".split())

# Korean family names, the commonest; from memory.
HANGUL_FAMILY = _word_set("""
    김 이 박 최 정 강 조 윤 장 임 한 오 서 신 권 황 안 송 류 전 홍 고 문 양 손 배 백 허 유 남 심 노 하 곽 성 차 주 우 구
    민 남궁 황보
""")

# Beginnings of compounds, where a language writes them as one word: "Druckdaten", "Tryckfiler".
COMPOUNDS = {
    "print file": ("druck", "tryckfil", "tryckorig", "printfil"),
    "tile": ("kachel", "teilscan", "einzelscan", "delskann"),
    "raw": ("rohscan", "rohdat", "råskann"),
    "reference": ("vorschau", "webbild", "förhandsvisn"),
}

# Chinese characters are written without spaces: what a longer word contains.
CONTAINED = {
    "print file": ("印刷", "出力", "入稿", "プリント"),
    "tile": ("分割", "タイル", "部分スキャン"),
    "raw": ("元データ", "生データ"),
    "reference": ("ウェブ", "参考", "縮小"),
    "master": ("原本", "合成", "スキャン"),
}
