use super::*;

#[test]
fn the_data_file_reads_and_names_known_fields() {
    let data: WordData = toml::from_str(include_str!("../words.toml")).expect("words.toml reads");
    let mut words = 0;
    let mut seen: HashMap<String, String> = HashMap::new();
    for (key, list) in &data.field {
        assert!(known_field(key).is_some(), "`{key}` is no known field");
        words += list.len();
        for word in list {
            let other = seen.insert(fold(word), key.clone());
            assert!(
                other.as_ref().is_none_or(|other| other == key),
                "`{word}` means {key} and {other:?}"
            );
        }
    }
    for keys in data.fitting.values() {
        for key in keys {
            assert!(known_field(key).is_some(), "`{key}` is no known field");
        }
    }
    let mut seen: HashMap<String, String> = HashMap::new();
    for (name, list) in &data.quantity {
        for word in list {
            let other = seen.insert(fold(word), name.clone());
            assert!(
                other.as_ref().is_none_or(|other| other == name),
                "`{word}` means {name} and {other:?}"
            );
        }
    }
    for kind in data.marker.keys() {
        assert!(
            ["missing", "above", "below", "saturated"].contains(&kind.as_str()),
            "{kind}"
        );
    }
    assert!(words > 700, "{words}");
}

#[test]
fn words_fold() {
    for (text, folded) in [
        ("Wellenlänge", "wellenlange"),
        ("WELLENLÄNGE:", "wellenlange"),
        ("Wellenla\u{308}nge", "wellenlange"),
        ("  Path-Length_", "path length"),
        ("longueur d'onde", "longueur d onde"),
        ("longueur d’onde", "longueur d onde"),
        ("% T", "% t"),
        ("Größe", "grosse"),
        ("∆A", "δa"),
        ("ΔA", "δa"),
        ("długość fali", "dlugosc fali"),
        ("Idő", "ido"),
        ("SICAKLIK", "sicaklik"),
        ("sıcaklık", "sicaklik"),
        ("ΧΡΌΝΟΣ", "χρονοσ"),
        ("χρόνος", "χρονοσ"),
        ("Объём", "объем"),
        ("波長", "波長"),
        ("[S]", "[s]"),
        ("...", ""),
    ] {
        assert_eq!(fold(text), folded, "{text}");
    }
}

#[test]
fn keys_in_many_languages() {
    for (key, field) in [
        ("Temperature", "temperature"),
        ("Temp.", "temperature"),
        ("TEMPERATUR", "temperature"),
        ("Température", "temperature"),
        ("Temperatura", "temperature"),
        ("Probe", "sample"),
        ("Échantillon", "sample"),
        ("Muestra", "sample"),
        ("Schichtdicke", "path-length"),
        ("Trajet optique", "path-length"),
        ("Paso óptico", "path-length"),
        ("PATHLENGTH", "path-length"),
        ("path_length", "path-length"),
        ("Wellenlaenge", "wavelength"),
        ("Longueur d’onde", "wavelength"),
        ("Scan speed", "scan-speed"),
        ("Datum", "date"),
        ("Fecha", "date"),
        ("Bemerkung", "comment"),
        ("pH-Wert", "ph"),
        ("PH", "ph"),
        ("Operator", "operator"),
        ("Spectral bandwidth", "bandwidth"),
        ("Lösungsmittel", "solvent"),
        ("[S]", "substrate-concentration"),
        ("Uhrzeit", "time"),
        ("Monster", "sample"),
        ("Våglängd", "wavelength"),
        ("Próbka", "sample"),
        ("Bølgelængde", "wavelength"),
        ("Aallonpituus", "wavelength"),
        ("Vlnová délka", "wavelength"),
        ("HULLÁMHOSSZ", "wavelength"),
        ("Dalga boyu", "wavelength"),
        ("Длина волны", "wavelength"),
        ("Довжина хвилі", "wavelength"),
        ("ΜΗΚΟΣ ΚΥΜΑΤΟΣ", "wavelength"),
        ("波長", "wavelength"),
        ("样品", "sample"),
        ("樣品", "sample"),
        ("溶媒", "solvent"),
        ("Hőmérséklet", "temperature"),
    ] {
        assert_eq!(field_of(key), Some(field), "{key}");
    }
    for key in ["jacket", "T", "data", "time", "name", "", "::", "x", "betanin"] {
        assert_eq!(field_of(key), None, "{key}");
    }
    assert_eq!(quantity_of("čas"), Some(Quantity::TIME));
    assert_eq!(quantity_of("CAS"), None);
    assert_eq!(quantity_of("吸光度"), Some(Quantity::ABSORBANCE));
    assert_eq!(fields_if_fitting("T"), fields_if_fitting("t"));
    assert_eq!(fields_if_fitting("Time"), ["time", "duration"]);
}

#[test]
fn cells_without_a_number() {
    for (cell, wanted) in [
        ("OVER", Some(Marker::Beyond)),
        ("Over range", Some(Marker::Beyond)),
        ("****", Some(Marker::Missing)),
        ("---", Some(Marker::Missing)),
        ("#N/A", Some(Marker::Missing)),
        ("NaN", Some(Marker::Missing)),
        ("n.d.", Some(Marker::Missing)),
        ("-1.#IND", Some(Marker::Missing)),
        ("k.A.", Some(Marker::Missing)),
        ("hors gamme", Some(Marker::Beyond)),
        ("SAT", Some(Marker::Beyond)),
        ("0.12", None),
        ("", None),
        ("betanin", None),
    ] {
        assert_eq!(marker(cell), wanted, "{cell}");
    }
}

#[test]
fn lines_of_the_paper() {
    for line in [
        "Page 1 of 3",
        "Seite 2",
        "Page 1/3",
        "- 3 -",
        "página 2 de 4",
        "End of data",
        "Seite 1 von 2",
        "pag. 3",
    ] {
        assert!(is_furniture(line), "{line}");
    }
    for line in ["Sample: page", "405 0.12", "- 3", "1 of 3", "", "pages of notes"] {
        assert!(!is_furniture(line), "{line}");
    }
}

#[test]
fn sums_and_blanks() {
    assert!(
        ["Mittelwert", "Mean", "RSD", "% RSD", "Std. dev.", "écart-type"]
            .into_iter()
            .all(is_statistics)
    );
    assert!(["Blank", "Leerwert", "REF", "blanc"].into_iter().all(is_blank));
    assert!(!is_statistics("sample") && !is_blank("betanin"));
}
