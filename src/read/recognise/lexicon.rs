//! Plain words of the trade, in the languages in which displays and tables are most often written, and what each
//! says of a column. Words only: no list of any product's headers. Common practice; spelling from general knowledge.

/// What a word in a header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in crate::read) enum Word {
    /// Latitude.
    Lat,
    /// Longitude.
    Lon,
    /// On the globe: a breadth is then a latitude, a length a longitude.
    Geographic,
    /// A length.
    Length,
    /// Easting.
    Easting,
    /// Northing.
    Northing,
    /// A time.
    Time,
    /// A date.
    Date,
    /// A span of time.
    Interval,
    /// Mass per time.
    Flow,
    /// A mass.
    Mass,
    /// Mass per area.
    Yield,
    /// Moisture.
    Moisture,
    /// Water: moisture, where it is the grain's.
    Water,
    /// A machine.
    Machine,
    /// At work or not.
    State,
    /// Raised: the header is not at work.
    Up,
    /// Speed.
    Speed,
    /// Distance.
    Distance,
    /// Width.
    Width,
    /// What a header's width is also called by itself.
    Swath,
    /// Course.
    Heading,
    /// Height above the sea.
    Elevation,
    /// A load of grain.
    Load,
    /// A pass.
    Pass,
    /// A section of the header.
    Section,
    /// A row of the log.
    Record,
    /// Planted rows.
    Rows,
    /// A distance from one to the next.
    Spacing,
    /// A crop.
    Crop,
    /// A farm or a client.
    Place,
    /// A field.
    Field,
    /// The grain itself: says nothing more.
    Grain,
    /// As harvested.
    Wet,
    /// At another moisture than harvested.
    Dry,
    /// Dry matter, without any water.
    DryMatter,
    /// At a reference moisture.
    Reference,
    /// Per time.
    Rate,
    /// A number or a name of something.
    Number,
    /// The front of the machine.
    Header,
    /// Of the ground, the receiver, the sensor: says nothing more.
    Plain,
    /// The GPS's own count of time.
    Gps,
    /// A running total.
    Sum,
    /// A volume.
    Volume,
    /// Something else, or somebody's aim: not a column of ours.
    Foreign,
}

use Word::{
    Crop, Date, Distance, Dry, DryMatter, Easting, Elevation, Field, Flow, Foreign, Geographic,
    Gps, Grain, Header, Heading, Interval, Lat, Length, Load, Lon, Machine, Mass, Moisture,
    Northing, Number, Pass, Place, Plain, Rate, Record, Reference, Rows, Section, Spacing, Speed,
    State, Sum, Swath, Time, Up, Volume, Water, Wet, Width, Yield,
};

/// Words by what they say, folded: lower case, without accents.
#[rustfmt::skip]
pub(super) static WORDS: &[(Word, &[&str])] = &[
    (Lat, &["lat", "latitude", "latitud", "latitudine", "breitengrad", "geobreite", "breddegrad", "breddgrad",
        "breedtegraad",
        "leveysaste", "enlem", "широта", "laiuskraad"]),
    (Lon, &["lon", "long", "lng", "longitude", "longitud", "longitudine", "langengrad", "laengengrad", "geolange",
        "lengdegrad", "langdgrad", "laengdegrad", "lengtegraad",
        "pituusaste", "boylam", "долгота", "довгота", "pikkuskraad"]),
    (Geographic, &["geogr", "geographic", "geographical", "geographische", "geografische", "geographique", "geografica",
        "geografico", "geografisk", "geograficzna",
        "zemepisna", "zemepisne", "zemljopisna", "geografska", "foldrajzi", "географическая", "географічна",
        "geografikus"]),
    (Length, &["length", "lange", "laenge", "longueur", "largo", "comprimento", "lunghezza", "lengte", "langd", "laengde",
        "lengde", "dlugosc",
        "delka", "dlzka", "hosszusag", "hosszusagi", "duzina", "pituus", "pikkus", "lungime"]),
    (Easting, &["x", "easting", "east", "ostwert", "rechtswert",
        "est", "este", "leste", "ost", "oost", "oster", "ostl", "ostlich", "ostliche",
        "istok", "vychod", "kelet", "ita", "восток", "схід"]),
    (Northing, &["y", "northing", "north", "nordwert", "hochwert",
        "nord", "norte", "noord", "norr", "nordl", "nordlich", "nordliche",
        "sever", "eszak", "pohjoinen", "север", "північ"]),
    (Time, &["time", "utc", "timestamp", "datetime", "uhrzeit", "zeit", "zeitstempel", "zeitpunkt", "heure", "horodatage",
        "temps", "hora", "tiempo", "tempo", "horario", "ora", "tijd", "tijdstip", "tid", "tidspunkt", "klokkeslett",
        "czas", "godzina", "clock",
        "when",
        "cas", "ido", "idopont", "vreme", "vrijeme", "aika", "zaman", "saat", "aeg", "время", "час", "klockslag",
        "klokkeslaet", "orario", "istante", "instant", "horaire"]),
    (Date, &["date", "datum", "fecha", "data", "dato", "day", "tag", "jour", "dia",
        "paivamaara", "paivays", "tarih", "дата", "kuupaev"]),
    (Interval, &["interval", "duration", "step", "zeitschritt", "intervall", "dauer", "duree", "intervalle",
        "duracion", "intervalo", "duracao", "seconds", "sekunden", "secondes", "segundos", "elapsed", "cycle",
        "lasts"]),
    (Flow, &["flow", "flowrate", "throughput", "durchsatz", "durchfluss", "massenstrom", "debit", "flux", "flujo",
        "caudal", "fluxo", "vazao", "portata", "flusso", "doorvoer", "flode", "przeplyw",
        "tok", "prutok", "protok", "virtaus", "virta", "debitul", "akis", "akisi", "поток", "потік", "подача",
        "strom", "stroom", "graanstroom", "korndurchsatz"]),
    (Mass, &["mass", "weight", "masse", "gewicht", "poids", "masa", "peso", "massa", "vikt", "vaegt", "vekt", "waga",
        "hmotnost", "tomeg", "massza", "kutle", "agirlik", "масса", "маса", "вес", "вага"]),
    (Yield, &["yield", "yld", "ertrag", "rendement", "rendimiento", "rendimento", "produtividade", "produttivita",
        "resa", "opbrengst", "skord", "udbytte", "avling", "plon",
        "vynos", "uroda", "hozam", "termes", "prinos", "sato", "saak", "productie", "recolta", "verim",
        "урожайность", "урожайність", "urozajnost", "rinde"]),
    (Moisture, &["moisture", "moist", "humidity", "feuchte", "feuchtigkeit", "feuchtegehalt", "wassergehalt",
        "humidite", "humedad", "umidade", "umidita", "vocht", "vochtgehalte", "fukt", "fukthalt", "fugt",
        "fugtighed", "fuktighet", "wilgotnosc",
        "vlhkost", "nedvesseg", "umiditate", "kosteus", "niiskus", "vlaga", "vlaznost", "nem", "nemi", "влажность",
        "вологість", "hum"]),
    (Water, &["water", "h2o", "wasser", "eau", "agua", "acqua", "vatten", "vand", "vann", "woda", "wody"]),
    (Machine, &["machine", "combine", "harvester", "vehicle", "maschine", "mahdrescher", "maehdrescher", "drescher",
        "moissonneuse", "batteuse", "cosechadora", "maquina", "colheitadeira", "colhedora", "mietitrebbia",
        "macchina", "maaidorser", "troska", "mejetaersker", "kombajn", "maszyna",
        "stroj", "gep", "kombajna", "combina", "kone", "puimuri", "bicerdover", "комбайн", "машина"]),
    (State, &["state", "status", "working", "work", "worked", "cutting", "harvesting", "arbeitsstellung",
        "arbeitszustand", "arbeit", "arbeitet", "travail", "trabajo", "trabalho", "lavoro", "werk", "estado", "etat",
        "stato", "down", "lowered", "position",
        "lucru"]),
    (Up, &["up", "raised", "lifted", "ausgehoben", "oben"]),
    (Speed, &["speed", "velocity", "geschwindigkeit", "vitesse", "velocidad", "velocidade", "velocita", "snelheid",
        "hastighet", "hastighed", "predkosc", "spd", "fahrgeschwindigkeit",
        "rychlost", "rychlost", "sebesseg", "viteza", "nopeus", "ajonopeus", "kiirus", "brzina", "hiz", "hizi",
        "скорость", "швидкість", "fart", "vel", "vit", "vorfahrt"]),
    (Distance, &["distance", "dist", "travelled", "traveled", "travel", "strecke", "wegstrecke", "weg", "entfernung",
        "distanz", "distancia", "distanza", "avance", "afstand", "avstand", "stracka", "droga", "odleglosc",
        "vzdalenost", "vzdialenost", "tavolsag", "distanta", "matka", "mesafe", "расстояние", "відстань", "путь"]),
    (Width, &["width", "breite", "arbeitsbreite", "schnittbreite", "largeur", "ancho", "anchura", "largura",
        "larghezza", "breedte", "werkbreedte", "bredde", "arbejdsbredde", "bredd", "arbetsbredd", "szerokosc",
        "sirka", "sirina", "szelesseg", "szelessegi", "munkaszelesseg", "latime", "leveys", "tyoleveys", "laius",
        "toolaius", "zaber", "zahvat", "genislik", "genisligi", "ширина", "larg"]),
    (Swath, &["swath", "swathe"]),
    (Heading, &["heading", "course", "bearing", "azimuth", "kurs", "fahrtrichtung", "richtung", "cap", "rumbo",
        "rumo", "direction", "direccion", "direcao", "direzione", "rotta", "koers", "riktning", "retning", "kierunek"]),
    (Elevation, &["elevation", "elev", "altitude", "alt", "height", "hohe", "hoehe", "gelandehohe", "hauteur",
        "elevacion", "altura", "altitud", "elevacao", "altezza", "quota", "hoogte", "hojd", "hojde", "hoyde",
        "wysokosc",
        "vyska", "magassag", "altitudine", "korkeus", "korgus", "visina", "yukseklik", "rakim", "высота", "висота"]),
    (Load, &["load", "wagon", "trailer", "truck", "cart", "bin", "fuhre", "ladung", "hanger", "anhanger", "remorque",
        "benne", "remolque", "carga", "carro", "carreta", "carico", "rimorchio", "lading", "kar", "lass", "laes",
        "ladunek",
        "naklad", "rakomany", "incarcatura", "kuorma", "yuk"]),
    (Pass, &["pass", "run", "fahrspur", "spur", "fahrt", "bahn", "passage", "passe", "pasada", "passada", "passata",
        "gang", "drag", "korsel", "przejazd",
        "prejezd", "prejazd", "menet", "trecere", "ajokerta"]),
    (Section, &["section", "sections", "teilbreite", "troncon", "seccion", "secao", "sezione", "sectie",
        "sekce", "szakasz", "sectiune", "lohko"]),
    (Record, &["record", "row", "registro", "sequence", "seq", "datensatz", "zeilennummer"]),
    (Rows, &["rows", "reihen", "reihe", "pflanzenreihen", "reihenzahl", "rang", "rangs", "hilera", "hileras", "surco",
        "surcos", "fileiras", "rijen", "raekker", "rader", "rzedow"]),
    (Spacing, &["spacing", "abstand", "weite", "ecartement", "espacement", "espaciamiento", "espacamento",
        "interfila", "rijafstand", "reihenweite", "reihenabstand", "interrang", "raekkeafstand", "radavstand"]),
    (Crop, &["crop", "frucht", "fruchtart", "kultur", "culture", "cultivo", "cultura", "coltura", "gewas", "groda",
        "afgrode", "uprawa", "species",
        "plodina", "noveny", "kultura", "viljelykasvi", "urun", "культура"]),
    (Place, &["farm", "client", "grower", "betrieb", "kunde", "exploitation"]),
    (Field, &["field", "schlag", "feld", "parcelle", "lote", "parcela", "campo", "talhao", "perceel", "falt", "mark",
        "pole"]),
    (Grain, &["grain", "korn", "getreide", "ernte", "erntegut", "harvest", "harvested", "kornertrag", "grano",
        "granos", "graos", "grao", "recolte", "cosecha", "colheita", "raccolto", "graan", "spannmal", "ziarno",
        "product", "material",
        "ziarna", "granella", "oogst", "skorde", "zbior",
        "zrno", "zrna", "szem", "boabe", "vilja", "viljan", "jyva", "tane", "зерно", "зерна", "tera"]),
    (Wet, &["wet", "nass", "feucht", "frisch", "humide", "brut", "humedo", "humeda", "umido", "umida", "nat",
        "natte", "vat", "mokry", "fresh", "green",
        "mokrego", "mokra", "mokre", "damp",
        "vlhky", "vlhka", "vlhke", "nedves", "umeda", "umed", "marka", "maran", "yas", "vlazan", "vlazna",
        "vlazni", "vlazno", "влажная", "влажное", "влажный", "вологе", "волога", "marg", "vadt", "vad", "ra",
        "raa"]),
    (Dry, &["dry", "dried", "trocken", "sec", "seche", "seco", "seca", "secco", "secca", "droog", "droge", "torr",
        "tor", "suchy",
        "suche", "suchego", "sucha",
        "szaraz", "uscata", "uscat", "kuiva", "kuru", "suv", "suvi", "suvo", "сухая", "сухой", "суха", "kuiv"]),
    (DryMatter, &["trockenmasse", "trockensubstanz", "drogestof", "torrsubstans"]),
    (Reference, &["reference", "standard", "standardised", "standardized", "corrected", "adjusted", "referenz",
        "norme", "market", "marketable", "commercial", "norm", "base", "norma"]),
    (Rate, &["rate", "per"]),
    (Number, &["number", "no", "nr", "num", "id", "name", "nummer", "numero", "code", "key", "index", "type", "label"]),
    (Header, &["header", "cut", "platform", "head", "bar", "implement", "schneidwerk", "vorsatz", "coupe", "cabezal",
        "plataforma", "barra", "testata", "corte", "taglio", "maaibord", "skarbord", "skaerebord",
        "skarbordets", "bicme", "tabla", "lista", "adapter", "heder", "tabel"]),
    (Plain, &["ground", "gnss", "receiver", "sensor", "measured", "raw", "actual", "instant", "instantaneous",
        "current", "local", "gmt", "decimal", "wgs", "wgs84", "degrees", "of", "the", "at", "in", "on", "by",
        "and", "log", "logged", "logging", "recording", "geo", "content", "gehalt", "value", "wert", "de", "del",
        "do", "da", "di", "la", "le", "du", "van", "der", "iso", "unix", "epoch", "true", "vehicles", "driving",
        "travelling", "start", "end", "effective", "real", "reel",
        "as", "to", "between", "entre", "zwischen", "bei", "bij", "ved", "vid", "przy", "na", "over", "so", "basis", "en", "et", "und", "och",
        "indhold", "innhold", "inhalt", "halt", "gehalte", "teneur", "teor", "contenido",
        "contenuto", "zawartosc", "reading", "robocza", "robocze", "jazdy", "rij",
        "maai", "kor", "forward",
        "si", "pracovni", "radni", "zahvata", "захвата", "захвату", "og", "bordets", "arbeids", "arbejds",
        "skarbordets", "fok"]),
    (Gps, &["gps"]),
    (Sum, &["total", "sum", "cumulative", "accumulated", "cumulated", "running", "summe", "gesamt", "cumul",
        "acumulado", "acumulada", "totaal", "totale", "odometer",
        "far"]),
    (Volume, &["volume", "vol", "volumen", "volumetric"]),
    (Foreign, &["fuel", "engine", "rotor", "drum", "fan", "sieve", "concave", "loss", "losses", "protein", "oil",
        "starch", "temperature", "temp", "pressure", "target", "set", "setpoint", "planned", "prescribed", "aim",
        "goal", "seed", "seeding", "nitrogen", "fertiliser", "fertilizer", "rain", "wind", "air", "soil", "test",
        "bulk", "density", "hectolitre", "average", "avg", "mean", "max", "maximum", "min", "minimum", "median",
        "std", "sd", "stdev", "error", "offset", "accuracy", "quality", "hdop", "pdop", "vdop", "dop", "satellites",
        "sats", "price", "cost", "revenue", "profit", "tank", "hopper", "fill", "variety", "hybrid", "cultivar",
        "operator", "driver", "comment", "note", "notes", "remark", "area", "flache", "surface", "superficie",
        "diesel", "kraftstoff", "carburant", "motor", "verlust", "verluste", "temperatur", "delay", "lag", "factor",
        "calibration", "slope", "tilt", "roll", "pitch", "yaw", "previous", "last", "next", "smoothed", "class",
        "zone", "duty", "ratio", "share", "percentage", "ash", "fibre", "fiber", "sugar", "foreign", "sort", "rpm",
        "torque", "power",
        "l", "litre", "litres", "liter", "liters", "litros", "litri", "gal", "gallon", "gallons", "ha", "hectare",
        "hectares", "hektar", "ac", "acre", "acres", "bar", "psi", "kw", "volt", "verbrauch",
        "kraftstoffverbrauch", "consumption", "conso", "consommation", "consumo", "verbruik", "forbrug", "forbruk",
        "forbrukning", "zuzycie", "drehzahl", "auslastung", "motorauslastung", "paliwo", "paliwa", "brandstof",
        "braendstof", "bransle", "drivstoff", "combustible", "combustivel", "combustibile", "carburante", "gasoil",
        "gasolio", "gazole", "treibstoff", "coolant", "temperatura", "temperatuur", "remaining",
        "spotreba", "paliva", "phm", "uzemanyag", "fogyasztas", "consum", "motorina", "combustibil", "polttoaine",
        "polttoaineen", "kulutus", "kutus", "potrosnja", "goriva", "goriv", "gorivo", "yakit", "tuketim",
        "tuketimi", "расход", "топлива", "топливо", "витрата", "пального", "kutuse", "trommeldrehzahl",
        "dieselforbrug", "branslef", "branslefoerbrukning", "branslefoerbruk", "branslefoerbr",
        "branslefeorbrukning"]),
];
