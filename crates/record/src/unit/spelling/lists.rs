//! The lists of spellings: data, looked up by `spelling.rs`.

/// Spellings that are looked up as a whole.
pub(super) fn whole(text: &str) -> Option<&'static [&'static str]> {
    in_this_case(text).or_else(|| in_any_case(&text.to_lowercase()))
}

/// Spellings in which capitals tell one unit from another.
fn in_this_case(text: &str) -> Option<&'static [&'static str]> {
    Some(match text {
        "C" => &["Cel", "C"],
        "oC" => &["Cel"],
        // Cyrillic capitals look like the Latin ones; the unit says which is meant.
        "°С" | "° С" | "оС" | "град. С" | "град С" | "℃" => &["Cel"],
        "С" => &["Cel", "C"],
        "НМ" => &["nm", "nmol/L"],
        // Minutes in Hungarian, and an abbreviation of percent.
        "perc" => &["min", "%"],
        "m" => &["m", "min"],
        "S" => &["s", "S"],
        "A" => &["{AU}", "A"],
        // In small letters it is how `µA` is looked up.
        "UA" => &["{AU}", "[arb'U]"],
        "mA" => &["10*-3.{AU}", "mA"],
        "Nm" => &["nm", "N.m"],
        "NM" => &["nm", "nmol/L"],
        "UM" => &["um", "umol/L"],
        "MM" => &["mm", "mmol/L"],
        "PM" => &["pm", "pmol/L"],
        "U/min" => &["/min", "U/min"],
        "1" | "-" => &["1"],
        "U" => &["U"],
        "u" => &[],
        // Manganese and cadmium, no minutes and no candela.
        "Mn" | "Cd" => &[],
        "IU" | "I.U." | "IE" | "I.E." | "UI" | "U.I." => &["[iU]"],
        _ => return None,
    })
}

/// Spellings that mean the same in capitals and small letters.
#[expect(clippy::too_many_lines, reason = "a list")]
fn in_any_case(lower: &str) -> Option<&'static [&'static str]> {
    Some(match lower.trim_end_matches('.') {
        "°c"
        | "degc"
        | "deg c"
        | "deg. c"
        | "deg.c"
        | "° c"
        | "grad c"
        | "st. c"
        | "st c"
        | "stopni c"
        | "gradc"
        | "grad celsius"
        | "celsius"
        | "°celsius"
        | "° celsius"
        | "degree c"
        | "degrees c"
        | "degree celsius"
        | "degrees celsius"
        | "deg celsius"
        | "cel"
        | "centigrade"
        | "degrees centigrade"
        | "degré c"
        | "degrés c"
        | "degré celsius"
        | "degrés celsius"
        | "degre celsius"
        | "degres celsius"
        | "grado celsius"
        | "grados celsius"
        | "grados c"
        | "gradi c"
        | "gradi celsius"
        | "graus c"
        | "graus celsius"
        | "graden celsius"
        | "grader c"
        | "grader celsius"
        | "stopni celsjusza"
        | "stupňů celsia"
        | "celsiusastetta"
        | "градусов цельсия"
        | "градусы цельсия"
        | "градус цельсия"
        | "βαθμοί κελσίου"
        | "摂氏度"
        | "摄氏度"
        | "攝氏度" => &["Cel"],
        "°f" | "degf" | "deg f" | "fahrenheit" | "degrees f" => &["[degF]"],
        "°k" | "degk" | "deg k" | "kelvin" | "kelvins" => &["K"],
        // Degrees of temperature, and degrees of an angle.
        "°" | "deg" | "degree" | "degrees" | "grad" | "degré" | "degrés" | "grados" | "gradi" => {
            &["Cel", "deg"]
        }
        "mdeg" | "millidegree" | "millidegrees" | "m°" => &["10*-3.deg"],
        "%"
        | "% t"
        | "%t"
        | "t%"
        | "t %"
        | "%r"
        | "% r"
        | "r%"
        | "percent"
        | "per cent"
        | "prozent"
        | "pct"
        | "pour cent"
        | "prosent"
        | "prosenttia"
        | "százalék"
        | "yüzde"
        | "процент"
        | "проценты"
        | "por ciento"
        | "per cento"
        | "por cento"
        | "procent"
        | "percent t"
        | "% trans"
        | "%trans"
        | "% transmittance"
        | "%transmittance"
        | "% transmission"
        | "percent transmittance"
        | "% reflectance"
        | "percent reflectance" => &["%"],
        "‰" | "promille" | "per mille" | "per mil" => &["[ppth]"],
        "ppm" => &["[ppm]"],
        "ppb" => &["[ppb]"],
        "au"
        | "{au}"
        | "od"
        | "{od}"
        | "o.d"
        | "abs"
        | "absorbance unit"
        | "absorbance units"
        | "absorbance"
        | "abs unit"
        | "abs units"
        | "abs. unit"
        | "abs. units"
        | "od unit"
        | "od units"
        | "u.a. d'absorbance"
        | "ua d'absorbance"
        | "unité d'absorbance"
        | "unités d'absorbance"
        | "unidades de absorbancia"
        | "unità di assorbanza"
        | "extinktionseinheiten"
        | "absorptionseinheiten"
        | "optical density"
        | "extinktion"
        | "absorbanz"
        | "absorbancia"
        | "assorbanza"
        | "absorbância" => &["{AU}"],
        "counts/s" | "counts/sec" | "count/s" | "counts per second" | "cts/s" | "counts.s-1"
        | "counts s-1" => &["{counts}/s"],
        // Absorbance units or arbitrary ones, in English order or in that of the Romance languages.
        "a.u" | "a. u" | "a.u.." | "u. a" | "u.a" => &["{AU}", "[arb'U]"],
        "mau"
        | "m{au}"
        | "mod"
        | "mabs"
        | "m.au"
        | "milliau"
        | "milliabs"
        | "milli-au"
        | "milliabsorbance"
        | "milliabsorbance units" => &["10*-3.{AU}"],
        "arb"
        | "arb. u"
        | "arb.u"
        | "arb. unit"
        | "arb. units"
        | "arb units"
        | "arbitrary unit"
        | "arbitrary units"
        | "willk. einh"
        | "willkürliche einheiten" => &["[arb'U]"],
        "ph" | "[ph]" | "ph unit" | "ph units" | "ph-einheiten" => &["[pH]"],
        "dimensionless" | "unitless" | "dimensionslos" | "ohne einheit" | "sans unité" | "fraction"
        | "0-1" | "0–1" | "0..1" | "0 - 1" | "0 to 1" => &["1"],
        "kayser"
        | "kaysers"
        | "wavenumber"
        | "wavenumbers"
        | "reciprocal cm"
        | "reciprocal centimeter"
        | "reciprocal centimeters"
        | "reciprocal centimetre"
        | "reciprocal centimetres" => &["/cm"],
        "rpm" | "r/min" | "rev/min" | "upm" | "tr/min" | "giri/min" | "r.p.m" | "omw/min" | "umdr./min"
        | "u./min" | "varv/min" | "obr/min" | "ot./min" | "об/мин" | "об./мин" => &["/min"],
        // Said of a column, not a unit: `Absorbance (units)`.
        "unit" | "units" | "einheit" | "einheiten" | "unité" | "unités" | "unidades" | "unità" => &[],
        _ => return None,
    })
}

/// Words that stand for one unit, in any case, in the languages of this trade.
pub(super) fn word_of_any_case(lower: &str) -> Option<&'static str> {
    Some(match lower {
        "s"
        | "sec"
        | "secs"
        | "second"
        | "seconds"
        | "sek"
        | "sekunde"
        | "sekunden"
        | "seg"
        | "segs"
        | "segundo"
        | "segundos"
        | "seconde"
        | "secondes"
        | "secondo"
        | "secondi"
        | "seconden"
        | "sekund"
        | "sekunder"
        | "sekunda"
        | "sekundy"
        | "sekundach"
        | "sekúnd"
        | "sekundách"
        | "sekunti"
        | "sekuntia"
        | "mp"
        | "másodperc"
        | "sn"
        | "saniye"
        | "с"
        | "сек"
        | "секунда"
        | "секунды"
        | "секунд"
        | "секундах"
        | "секунди"
        | "δευτερόλεπτα"
        | "δευτερόλεπτο"
        | "δευτ"
        | "秒"
        | "초"
        | "secunda"
        | "secunde"
        | "sekundi"
        | "секунде"
        | "giây"
        | "detik"
        | "segon"
        | "segons" => "s",
        "min" | "mins" | "minute" | "minutes" | "minuten" | "mn" | "minuto" | "minutos" | "minuti"
        | "minuut" | "minut" | "minuter" | "minuty" | "minutach" | "minutter" | "minuta" | "minútach"
        | "minutách" | "minút" | "minuutti" | "minuuttia" | "dk" | "dakika" | "мин" | "минута" | "минуты"
        | "минут" | "минутах" | "хв" | "хвилина" | "хвилини" | "хвилин" | "хвилинах" | "λεπτά" | "λεπτα"
        | "λεπτό" | "分" | "分钟" | "分鐘" | "分間" | "분" | "minutu" | "phút" | "menit" => {
            "min"
        }
        "h" | "hr" | "hrs" | "hour" | "hours" | "std" | "stunde" | "stunden" | "heure" | "heures"
        | "hora" | "horas" | "ora" | "ore" | "uur" | "uren" | "timme" | "timmar" | "timer" | "godz"
        | "godzina" | "godziny" | "hod" | "hodin" | "hodina" | "hodiny" | "hodinách" | "óra" | "saat"
        | "tunti" | "tuntia" | "ч" | "час" | "часы" | "часов" | "часах" | "години" | "годин" | "ώρες"
        | "小时" | "小時" | "시간" | "giờ" | "jam" | "hores" => "h",
        "d" | "day" | "days" | "tag" | "tage" | "tagen" | "jour" | "jours" | "día" | "días" | "dia"
        | "dias" | "giorno" | "giorni" | "dag" | "dagen" | "dagar" | "dni" | "dage" | "døgn" | "dygn"
        | "vrk" | "сут" | "сутки" => "d",
        "ms" | "msec" | "msecs" | "msek" | "millis" | "мс" | "мсек" | "毫秒" | "ミリ秒" => "ms",
        "us" | "usec" | "usecs" | "мкс" | "微秒" => "us",
        "ml" | "cc" | "ccm" | "mls" | "мл" | "毫升" => "mL",
        "ul" | "mcl" | "мкл" | "微升" => "uL",
        "nl" => "nL",
        "cl" => "cL",
        "dl" => "dL",
        "l" | "lt" | "ltr" | "л" => "L",
        "mg" | "мг" => "mg",
        "ug" | "mcg" | "мкг" => "ug",
        "ng" | "нг" => "ng",
        "pg" => "pg",
        "kg" | "кг" => "kg",
        "g" => "g",
        "cm" | "см" => "cm",
        "дм" => "dm",
        "um" | "micron" | "microns" => "um",
        // What the nanometre was called before 1960.
        "millimicron" | "millimicrons" | "m-mu" | "mmu" | "mµ" | "mμ" => "nm",
        "mol" | "mole" | "moles" | "mols" | "моль" => "mol",
        "mmol" | "mmole" | "mmoles" | "ммоль" => "mmol",
        "umol" | "umole" | "umoles" | "мкмоль" => "umol",
        "nmol" | "nmole" | "nmoles" | "нмоль" => "nmol",
        "pmol" | "pmole" | "pmoles" => "pmol",
        "kj" | "кдж" => "kJ",
        "kcal" => "kcal",
        "cal" => "cal",
        "ev" | "эв" => "eV",
        "mev" => "meV",
        "kat" | "katal" => "kat",
        "ukat" => "ukat",
        "nkat" => "nkat",
        "hz" => "Hz",
        "khz" => "kHz",
        "mbar" => "mbar",
        "bar" => "bar",
        "atm" => "atm",
        "hpa" => "hPa",
        "kpa" => "kPa",
        "pa" => "Pa",
        "mmhg" | "torr" => "mm[Hg]",
        "å" | "angstrom" | "angstroms" | "ångström" | "ångstrom" | "angström" => "Ao",
        "%" | "percent" | "prozent" | "%t" => "%",
        "od" | "au" | "abs" | "δa" | "δabs" | "δod" | "δe" | "absorbance" | "extinktion" => "{AU}",
        "mau" | "mod" | "mabs" | "δmau" | "δmod" => "10*-3.{AU}",
        "units" | "unit" | "einheiten" | "einheit" | "unités" | "unité" | "unidades" | "unità" => "U",
        "rev" | "umdrehungen" | "umdr" => "1",
        "molecule" | "molecules" | "molec" | "molécule" | "molecula" | "molécula" | "molecola"
        | "molekyl" | "molekül" | "particle" | "particles" | "photon" | "photons" => "1",
        "db" | "decibel" | "decibels" => "dB",
        "lx" | "lux" => "lx",
        _ => return seldom_of_any_case(lower),
    })
}

/// Of these, those that are seldom written: long times, and volumes as cubes in Cyrillic.
fn seldom_of_any_case(lower: &str) -> Option<&'static str> {
    Some(match lower {
        "weeks" | "wks" | "wochen" | "semaines" | "semanas" | "settimane" | "weken" | "veckor" | "uger"
        | "uker" | "tygodnie" | "týdny" | "недели" | "недель" | "viikkoa" => "wk",
        "months" | "monate" | "monaten" | "meses" | "mesi" | "maanden" | "månader" | "måneder"
        | "miesiące" | "měsíce" | "месяцы" | "месяцев" | "kuukautta" => "mo",
        "дм3" | "дм³" | "дм^3" => "dm3",
        "см3" | "см³" | "см^3" => "cm3",
        _ => return None,
    })
}

/// Words whose case matters, each with all it may mean in this trade.
pub(super) fn word_of_this_case(word: &str) -> Option<&'static [&'static str]> {
    Some(match word {
        "NM" => &["nm", "nmol.L-1"],
        "UM" => &["um", "umol.L-1"],
        "MM" => &["mm", "mmol.L-1"],
        "PM" => &["pm", "pmol.L-1"],
        "Nm" => &["nm"],
        "M" => &["mol.L-1"],
        "mM" => &["mmol.L-1"],
        "uM" | "mcM" => &["umol.L-1"],
        "nM" => &["nmol.L-1"],
        "М" => &["mol.L-1"],
        "мМ" => &["mmol.L-1"],
        "мкМ" => &["umol.L-1"],
        "нМ" => &["nmol.L-1"],
        "нм" | "纳米" | "奈米" | "ナノメートル" => &["nm"],
        "мкм" => &["um"],
        "мм" => &["mm"],
        "г" => &["g"],
        "К" => &["K"],
        "pM" => &["pmol.L-1"],
        "fM" => &["fmol.L-1"],
        "nm" => &["nm"],
        "pm" => &["pm"],
        "mm" => &["mm"],
        "m" => &["m"],
        "dm" | "дм" => &["dm"],
        "km" => &["km"],
        "A" => &["{AU}", "A"],
        "mA" => &["10*-3.{AU}", "mA"],
        "dA" | "dAbs" | "dOD" | "dE" => &["{AU}"],
        // A standard deviation, and letters that mean too much.
        "STD" | "D" | "G" => &[],
        "U" | "u" => &["U"],
        "mU" => &["mU"],
        "kU" => &["kU"],
        "uU" => &["uU"],
        "IU" | "IE" | "UI" => &["[iU]"],
        "mIU" => &["m[iU]"],
        "kIU" => &["k[iU]"],
        "K" | "°C" | "°K" => &["K"],
        "J" => &["J"],
        "MJ" => &["MJ"],
        "W" => &["W"],
        "mW" => &["mW"],
        "V" => &["V"],
        "mV" => &["mV"],
        "kV" => &["kV"],
        "N" => &["N"],
        "mkat" => &["mkat"],
        "pkat" => &["pkat"],
        "MHz" => &["MHz"],
        "mHz" => &["mHz"],
        "GHz" => &["GHz"],
        "mS" => &["mS"],
        "uS" => &["uS"],
        "Gy" => &["Gy"],
        "kGy" => &["kGy"],
        "mT" => &["mT"],
        "uA" => &["uA"],
        "nA" => &["nA"],
        "pA" => &["pA"],
        "uW" => &["uW"],
        "kW" => &["kW"],
        "uV" => &["uV"],
        "mJ" => &["mJ"],
        "uJ" => &["uJ"],
        "MPa" => &["MPa"],
        "ns" => &["ns"],
        "ps" => &["ps"],
        "Mol" => &["mol"],
        // Equivalents; `val` is the older German word.
        "eq" | "Eq" => &["eq"],
        "meq" | "mEq" | "mval" => &["meq"],
        "ppm" => &["[ppm]"],
        _ => return None,
    })
}

/// Units written out: a prefix word and a base word.
pub(super) fn word_written_out(lower: &str) -> Option<String> {
    const PREFIXES: [(&str, &str); 16] = [
        ("nano", "n"),
        ("nanó", "n"),
        ("nanô", "n"),
        ("mikro", "u"),
        ("micro", "u"),
        ("micró", "u"),
        ("micrô", "u"),
        ("milli", "m"),
        ("mili", "m"),
        ("milí", "m"),
        ("milì", "m"),
        ("zenti", "c"),
        ("centi", "c"),
        ("kilo", "k"),
        ("pico", "p"),
        ("piko", "p"),
    ];
    let base = |word: &str| {
        Some(match word {
            "meter" | "meters" | "metre" | "metres" | "mètre" | "mètres" | "metro" | "metros" | "metri"
            | "metr" | "metry" | "metrach" | "metru" | "metrech" | "metrů" | "méter" | "metriä" => {
                ("m", "")
            }
            "liter" | "liters" | "litre" | "litres" | "litro" | "litros" | "litri" | "litr" | "litry" => {
                ("L", "")
            }
            "gram" | "grams" | "gramm" | "gramme" | "grammes" | "gramo" | "gramos" | "grammo" | "grammi"
            | "grama" | "gramas" => ("g", ""),
            "mol" | "mole" | "moles" | "mols" | "moli" => ("mol", ""),
            "molar" | "molaire" | "molare" => ("mol", ".L-1"),
            "second" | "seconds" | "sekunde" | "sekunden" | "seconde" | "secondes" | "segundo"
            | "segundos" | "secondo" | "secondi" => ("s", ""),
            "joule" | "joules" => ("J", ""),
            "calorie" | "calories" | "kalorie" | "kalorien" => ("cal", ""),
            "volt" | "volts" => ("V", ""),
            "watt" | "watts" => ("W", ""),
            "pascal" | "pascals" => ("Pa", ""),
            "hertz" => ("Hz", ""),
            "katal" | "katals" => ("kat", ""),
            "bar" => ("bar", ""),
            _ => return None,
        })
    };
    let (prefix, rest) = PREFIXES
        .iter()
        .find_map(|&(word, prefix)| Some((prefix, lower.strip_prefix(word)?.trim_start_matches('-'))))
        .unwrap_or(("", lower));
    // Spanish and Portuguese move the accent onto the prefix: nanómetro, milímetro.
    let (unit, behind) = base(rest)?;
    Some(format!("{prefix}{unit}{behind}"))
}
