//! Words of dates: months, weekdays, and what stands between them.

/// The month of a name or an abbreviation, in cs, da, de, el, en, es, fi, fr, hu, it, nl, no, pl, pt, ru, sk, sv, tr and
/// uk, in the cases that dates need. Names of three letters or more.
#[expect(clippy::too_many_lines, reason = "a list")]
pub(super) fn month(word: &str) -> Option<i8> {
    Some(match word {
        "jan"
        | "january"
        | "januar"
        | "janner"
        | "janvier"
        | "janv"
        | "ene"
        | "enero"
        | "gen"
        | "gennaio"
        | "januari"
        | "janeiro"
        | "styczen"
        | "stycznia"
        | "jaenner"
        | "leden"
        | "ledna"
        | "januara"
        | "tammikuu"
        | "tammikuuta"
        | "ocak"
        | "январь"
        | "января"
        | "янв"
        | "січень"
        | "січня"
        | "січ"
        | "ιανουαριοσ"
        | "ιανουαριου"
        | "ιαν" => 1,
        "feb"
        | "february"
        | "februar"
        | "fev"
        | "fevr"
        | "fevrier"
        | "febrero"
        | "febbraio"
        | "februari"
        | "fevereiro"
        | "luty"
        | "lutego"
        | "febr"
        | "unor"
        | "unora"
        | "februara"
        | "helmikuu"
        | "helmikuuta"
        | "subat"
        | "февраль"
        | "февраля"
        | "фев"
        | "февр"
        | "лютии"
        | "лютого"
        | "лют"
        | "φεβρουαριοσ"
        | "φεβρουαριου"
        | "φεβ" => 2,
        "mar" | "march" | "marz" | "maerz" | "mrz" | "mars" | "marzo" | "maart" | "mrt" | "marco"
        | "marzec" | "marca" | "marts" | "brezen" | "brezna" | "marec" | "maaliskuu" | "maaliskuuta"
        | "marcius" | "mart" | "март" | "марта" | "мар" | "березень" | "березня" | "бер" | "μαρτιοσ"
        | "μαρτιου" | "μαρ" => 3,
        "apr" | "april" | "avr" | "avril" | "abr" | "abril" | "aprile" | "kwiecien" | "kwietnia"
        | "duben" | "dubna" | "aprila" | "huhtikuu" | "huhtikuuta" | "aprilis" | "nisan" | "апрель"
        | "апреля" | "апр" | "квітень" | "квітня" | "кві" | "απριλιοσ" | "απριλιου" | "απρ" => {
            4
        }
        "may" | "mai" | "mayo" | "mag" | "maggio" | "mei" | "maio" | "maj" | "maja" | "kveten" | "kvetna"
        | "toukokuu" | "toukokuuta" | "majus" | "mayis" | "маи" | "мая" | "травень" | "травня" | "тра"
        | "μαιοσ" | "μαιου" | "μαι" => 5,
        "jun" | "june" | "juni" | "juin" | "junio" | "giu" | "giugno" | "junho" | "czerwiec" | "czerwca"
        | "cerven" | "cervna" | "juna" | "kesakuu" | "kesakuuta" | "junius" | "haziran" | "июнь" | "июня"
        | "июн" | "червень" | "червня" | "чер" | "ιουνιοσ" | "ιουνιου" | "ιουν" => {
            6
        }
        "jul" | "july" | "juli" | "juil" | "juillet" | "julio" | "lug" | "luglio" | "julho" | "lipiec"
        | "lipca" | "cervenec" | "cervence" | "jula" | "heinakuu" | "heinakuuta" | "julius" | "temmuz"
        | "июль" | "июля" | "июл" | "липень" | "липня" | "лип" | "ιουλιοσ" | "ιουλιου" | "ιουλ" => {
            7
        }
        "aug" | "august" | "aout" | "ago" | "agosto" | "augustus" | "augusti" | "sierpien" | "sierpnia"
        | "srpen" | "srpna" | "augusta" | "elokuu" | "elokuuta" | "augusztus" | "agustos" | "август"
        | "августа" | "авг" | "серпень" | "серпня" | "сер" | "αυγουστοσ" | "αυγουστου" | "αυγ" => {
            8
        }
        "sep"
        | "sept"
        | "september"
        | "septembre"
        | "septiembre"
        | "setiembre"
        | "set"
        | "settembre"
        | "setembro"
        | "wrzesien"
        | "wrzesnia"
        | "zari"
        | "septembra"
        | "syyskuu"
        | "syyskuuta"
        | "szeptember"
        | "szept"
        | "eylul"
        | "сентябрь"
        | "сентября"
        | "сен"
        | "сент"
        | "вересень"
        | "вересня"
        | "вер"
        | "σεπτεμβριοσ"
        | "σεπτεμβριου"
        | "σεπ"
        | "σεπτ" => 9,
        "oct" | "october" | "okt" | "oktober" | "octobre" | "octubre" | "ott" | "ottobre" | "out"
        | "outubro" | "pazdziernik" | "pazdziernika" | "rijen" | "rijna" | "oktobra" | "lokakuu"
        | "lokakuuta" | "ekim" | "октябрь" | "октября" | "окт" | "жовтень" | "жовтня" | "жов"
        | "οκτωβριοσ" | "οκτωβριου" | "οκτ" => 10,
        "nov" | "november" | "novembre" | "noviembre" | "novembro" | "listopad" | "listopada"
        | "listopadu" | "novembra" | "marraskuu" | "marraskuuta" | "kasim" | "ноябрь" | "ноября" | "ноя"
        | "нояб" | "листопад" | "листопада" | "лис" | "νοεμβριοσ" | "νοεμβριου" | "νοε" => {
            11
        }
        "dec"
        | "december"
        | "dez"
        | "dezember"
        | "decembre"
        | "dic"
        | "diciembre"
        | "dicembre"
        | "dezembro"
        | "grudzien"
        | "grudnia"
        | "prosinec"
        | "prosince"
        | "decembra"
        | "desember"
        | "joulukuu"
        | "joulukuuta"
        | "aralik"
        | "декабрь"
        | "декабря"
        | "дек"
        | "грудень"
        | "грудня"
        | "гру"
        | "δεκεμβριοσ"
        | "δεκεμβριου"
        | "δεκ" => 12,
        _ => return None,
    })
}

/// The weekday of a name or an abbreviation, Monday as 1. Abbreviations that mean two days are left out.
pub(super) fn weekday(word: &str) -> Option<i8> {
    Some(match word {
        "mon" | "monday" | "mo" | "montag" | "lundi" | "lun" | "lunes" | "lunedi" | "segunda" | "maandag"
        | "ma" | "mandag" | "poniedzialek" => 1,
        "tue" | "tues" | "tuesday" | "di" | "dienstag" | "mardi" | "martes" | "martedi" | "terca"
        | "dinsdag" | "tisdag" | "tis" | "wtorek" => 2,
        "wed" | "wednesday" | "mi" | "mittwoch" | "mercredi" | "mer" | "miercoles" | "mie" | "mercoledi"
        | "quarta" | "woensdag" | "wo" | "onsdag" | "ons" | "sroda" => 3,
        "thu" | "thur" | "thurs" | "thursday" | "donnerstag" | "jeudi" | "jeu" | "jueves" | "jue"
        | "giovedi" | "gio" | "quinta" | "donderdag" | "torsdag" | "tor" | "czwartek" => 4,
        "fri" | "friday" | "fr" | "freitag" | "vendredi" | "ven" | "viernes" | "vie" | "venerdi"
        | "sexta" | "vrijdag" | "vr" | "fredag" | "fre" | "piatek" => 5,
        "sat" | "saturday" | "sa" | "samstag" | "sonnabend" | "samedi" | "sam" | "sabado" | "sab"
        | "sabato" | "zaterdag" | "za" | "lordag" | "lor" | "sobota" => 6,
        "sun" | "sunday" | "so" | "sonntag" | "dimanche" | "dim" | "domingo" | "dom" | "domenica"
        | "zondag" | "zo" | "sondag" | "son" | "niedziela" => 7,
        _ => return None,
    })
}

/// Words that stand in dates and times and add nothing. (`di` and `mar` are read as other things first.)
pub(super) fn filler(word: &str) -> bool {
    matches!(
        word,
        "de" | "del"
            | "den"
            | "der"
            | "le"
            | "the"
            | "of"
            | "st"
            | "nd"
            | "rd"
            | "th"
            | "er"
            | "am"
            | "um"
            | "at"
            | "a"
            | "el"
            | "il"
            | "di"
            | "kl"
            | "klo"
            | "om"
            | "o"
            | "t"
            | "r"
            | "du"
            | "on"
            | "feira"
            | "las"
            | "alle"
            | "ore"
            | "les"
            | "as"
            | "dia"
            | "uhr"
            | "h"
            | "г"
            | "года"
            | "р"
            | "року"
    )
}
