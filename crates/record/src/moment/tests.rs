use super::*;

fn shown(text: &str) -> String {
    let moment = read(text, None);
    let date = match moment.date {
        DateReading::Read(date) => {
            let mark = if date.century_assumed { "*" } else { "" };
            format!("{}{mark}", date.iso)
        }
        DateReading::Undecidable(readings) => {
            let days: Vec<&str> = readings.iter().map(|(_, day)| day.iso.as_str()).collect();
            days.join("|")
        }
        DateReading::No => String::new(),
    };
    format!("{date} {}", moment.time.unwrap_or_default())
        .trim()
        .to_owned()
}

/// Dates as people write them, and the days that may be meant.
const DATES_THAT_PEOPLE_WRITE: &[(&str, &str)] = &[
    ("2021-03-14", "2021-03-14"),
    ("2021/03/14", "2021-03-14"),
    ("2021.03.14", "2021-03-14"),
    ("2021-3-4", "2021-03-04"),
    ("20210314", "2021-03-14"),
    ("14.03.2021", "2021-03-14"),
    ("14.3.2021", "2021-03-14"),
    ("03.04.2021", "2021-04-03"),
    ("03.04.21", "2021-04-03*"),
    ("14/03/2021", "2021-03-14"),
    ("03/14/2021", "2021-03-14"),
    ("03/04/2021", "2021-04-03|2021-03-04"),
    ("03-04-2021", "2021-04-03|2021-03-04"),
    ("03/04/21", "2021-04-03|2021-03-04"),
    ("05/05/2021", "2021-05-05"),
    ("14/03/21", "2021-03-14*"),
    ("99/03/14", "1999-03-14*"),
    // Which end is the year is not said.
    ("18-05-13", "2018-05-13|2013-05-18"),
    ("10-11-12", "2010-11-12|2012-11-10|2012-10-11"),
    ("14-03-21", "2014-03-21|2021-03-14"),
    ("99-03-14", "1999-03-14*"),
    // A year to come, or of another calendar.
    ("13/05/61", ""),
    ("13-May-55", ""),
    // Heisei, Reiwa, Showa.
    ("H30.5.13", "2018-05-13"),
    ("R2.5.13", "2020-05-13"),
    ("S60/05/13", "1985-05-13"),
    ("14-Mar-2021", "2021-03-14"),
    ("14-MAR-21", "2021-03-14*"),
    ("14MAR2021", "2021-03-14"),
    ("14 March 2021", "2021-03-14"),
    ("March 14, 2021", "2021-03-14"),
    ("Mar 14 2021", "2021-03-14"),
    ("March 14th, 2021", "2021-03-14"),
    ("14th of March 2021", "2021-03-14"),
    ("2021 March 14", "2021-03-14"),
    ("2021-Mar-14", "2021-03-14"),
    ("14. März 2021", "2021-03-14"),
    ("14. března 2021", "2021-03-14"),
    ("14. marts 2021", "2021-03-14"),
    ("14. maaliskuuta 2021", "2021-03-14"),
    ("2021. március 14.", "2021-03-14"),
    ("14 Mart 2021", "2021-03-14"),
    ("14 марта 2021 г.", "2021-03-14"),
    ("14 березня 2021 р.", "2021-03-14"),
    ("3 мая 2021 г. 10:32", "2021-05-03 10:32"),
    ("14 Μαρτίου 2021", "2021-03-14"),
    ("14 ΜΑΡΤΙΟΥ 2021", "2021-03-14"),
    ("2021年3月14日", "2021-03-14"),
    ("2021年03月14日 10时32分05秒", "2021-03-14 10:32:05"),
    ("2021年3月14日10時32分", "2021-03-14 10:32"),
    ("2021年3月14日 午後3時", ""),
    ("2021年3月", ""),
    ("14. Mrz. 2021", "2021-03-14"),
    ("14. Dezember 1998", "1998-12-14"),
    ("14 mars 2021", "2021-03-14"),
    ("le 14 mars 2021", "2021-03-14"),
    ("1er août 2021", "2021-08-01"),
    ("14 févr. 2021", "2021-02-14"),
    ("14 de marzo de 2021", "2021-03-14"),
    ("14 dic 2021", "2021-12-14"),
    ("14 ottobre 2021", "2021-10-14"),
    ("14 de março de 2021", "2021-03-14"),
    ("14 mei 2021", "2021-05-14"),
    ("14 mrt 2021", "2021-03-14"),
    ("14 maja 2021", "2021-05-14"),
    ("den 14 maj 2021", "2021-05-14"),
    ("Sunday, March 14, 2021", "2021-03-14"),
    ("Sun Mar 14 2021", "2021-03-14"),
    ("So, 14.03.2021", "2021-03-14"),
    ("dimanche 14 mars 2021", "2021-03-14"),
    ("mar 9 marzo 2021", "2021-03-09"),
    // The weekday decides: 3 April 2021 was a Saturday, 4 March 2021 a Thursday.
    ("Sat 03/04/2021", "2021-04-03"),
    ("Thu 03/04/2021", "2021-03-04"),
    ("Mon 03/04/2021", ""),
    ("Mon 14 March 2021", ""),
    // With times.
    ("2021-03-14T10:32:05", "2021-03-14 10:32:05"),
    ("2021-03-14T10:32:05Z", "2021-03-14 10:32:05Z"),
    ("2021-03-14T10:32:05.120+01:00", "2021-03-14 10:32:05.120+01:00"),
    ("2021-03-14 10:32", "2021-03-14 10:32"),
    ("2021/03/14 10:32:05.123 +0100", "2021-03-14 10:32:05.123+01:00"),
    ("20210314T103205", "2021-03-14 10:32:05"),
    ("14.03.2021 10:32:05", "2021-03-14 10:32:05"),
    ("14.03.2021, 10.32 Uhr", "2021-03-14 10:32"),
    ("14.03.2021 um 10:32 Uhr", "2021-03-14 10:32"),
    ("14/03/2021 10h32", "2021-03-14 10:32"),
    ("14/03/2021 à 10h32", "2021-03-14 10:32"),
    ("3/14/2021 3:15:09 PM", "2021-03-14 15:15:09"),
    ("3/14/2021 12:15 AM", "2021-03-14 00:15"),
    ("3/14/2021 12:15 p.m.", "2021-03-14 12:15"),
    ("03/04/2021 10:32", "2021-04-03|2021-03-04 10:32"),
    ("10:32 14.03.2021", "2021-03-14 10:32"),
    ("14 March 2021 3 pm", "2021-03-14 15:00"),
    ("10:32", "10:32"),
    ("10:32:05", "10:32:05"),
    ("9:05", "09:05"),
    ("10h32", "10:32"),
    ("10 Uhr", "10:00"),
    ("10.32 Uhr", "10:32"),
    ("3:15 PM", "15:15"),
    ("10:32 UTC", "10:32Z"),
    // None of them.
    ("", ""),
    ("14", ""),
    ("2021", ""),
    ("March 2021", ""),
    ("14 March", ""),
    ("31.02.2021", ""),
    ("2021-13-01", ""),
    ("2021/14/03", ""),
    ("210314", ""),
    ("14032021", ""),
    ("1.2.3", ""),
    ("1,234", ""),
    ("25:70", ""),
    ("10:32:05:11", ""),
    ("13:00 PM", ""),
    ("betanin", ""),
    ("14 betanin 2021", ""),
    ("37 °C", ""),
    ("1234567890123", ""),
    ("03/04/1821", ""),
];

#[test]
fn dates_that_people_write() {
    let wrong: Vec<String> = DATES_THAT_PEOPLE_WRITE
        .iter()
        .filter(|&&(text, wanted)| shown(text) != wanted)
        .map(|&(text, wanted)| format!("`{text}`: wanted `{wanted}`, got `{}`", shown(text)))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_settled_order_settles() {
    let iso = |text: &str, order| match read_date(text, Some(order)) {
        DateReading::Read(date) => date.iso,
        other => format!("{other:?}"),
    };
    assert_eq!(iso("03/04/2021", DatePartOrder::DayFirst), "2021-04-03");
    assert_eq!(iso("03/04/2021", DatePartOrder::MonthFirst), "2021-03-04");
    assert_eq!(iso("21/03/04", DatePartOrder::YearFirst), "2021-03-04");
    assert_eq!(iso("210304", DatePartOrder::YearFirst), "2021-03-04");
    // What leaves no doubt stays as it is.
    assert_eq!(iso("14/03/2021", DatePartOrder::MonthFirst), "2021-03-14");
    for order in [
        DatePartOrder::DayFirst,
        DatePartOrder::MonthFirst,
        DatePartOrder::YearFirst,
    ] {
        assert_eq!(DatePartOrder::named(order.as_str()), Some(order));
    }
}

/// Every day of a year, in four forms, comes back (the calendar is jiff's).
#[test]
fn days_lie_between() {
    assert_eq!(days_between("2012-02-28", "2012-03-01"), Some(2));
    assert_eq!(days_between("2012-01-01", "2011-12-31"), Some(-1));
    assert_eq!(days_between("2012-01-01", "no date"), None);
}

#[test]
fn a_later_date_settles_the_order_of_all() {
    let told = |dates: &[&str]| days_since_first(dates, None);
    assert_eq!(
        told(&["11/04/2022", "12/04/2022", "13/04/2022"]),
        Some((vec![0, 1, 2], DateOrder::Settled(DatePartOrder::DayFirst)))
    );
    assert_eq!(
        told(&["04/12/2022", "04/13/2022"]),
        Some((vec![0, 1], DateOrder::Settled(DatePartOrder::MonthFirst)))
    );
    assert_eq!(
        told(&["03/04/2022", "04/04/2022"]),
        Some((vec![0, 1], DateOrder::Open))
    );
    assert_eq!(
        told(&["2022-04-11", "2022-04-12"]),
        Some((vec![0, 1], DateOrder::Clear))
    );
    // No order suits both, and one is no date.
    assert_eq!(told(&["13/04/2022", "04/14/2022"]), None);
    assert_eq!(told(&["13/04/2022", "betanin"]), None);
    let settled = days_since_first(&["03/04/2022", "04/04/2022"], Some(DatePartOrder::MonthFirst));
    assert_eq!(settled.map(|(days, _)| days), Some(vec![0, 32 - 1]));
}

#[test]
fn zones_are_parted_from_times() {
    for (text, wanted) in [
        ("2021-10-31T02:46:10+02:00", Some(("2021-10-31T02:46:10", 7200))),
        (
            "2021-10-31 02:46:10 -0330",
            Some(("2021-10-31 02:46:10", -12_600)),
        ),
        ("2021-10-31T02:46:10Z", Some(("2021-10-31T02:46:10", 0))),
        ("02:46 UTC", Some(("02:46", 0))),
        ("02:46+01", Some(("02:46", 3600))),
        ("2021-10-31", None),
        ("2021-10-31 02:46", None),
        ("02:46:10-5", None),
        ("02:46:10+99:00", None),
        ("", None),
    ] {
        assert_eq!(split_zone(text), wanted, "{text}");
    }
}

#[test]
fn days_come_back() {
    let mut day = civil::date(2024, 1, 1);
    while day.year() == 2024 {
        let wanted = day.to_string();
        let (y, m, d) = (day.year(), day.month(), day.day());
        for text in [
            format!("{y}-{m:02}-{d:02}"),
            format!("{d:02}.{m:02}.{y}"),
            format!("{y}{m:02}{d:02}"),
            day.strftime("%d %B %Y").to_string(),
            day.strftime("%A, %b %d, %Y").to_string(),
        ] {
            assert!(
                matches!(read_date(&text, None), DateReading::Read(date) if date.iso == wanted),
                "{text}"
            );
        }
        for (text, order) in [
            (format!("{d}/{m}/{y}"), DatePartOrder::DayFirst),
            (format!("{m}/{d}/{y}"), DatePartOrder::MonthFirst),
        ] {
            assert!(
                matches!(read_date(&text, Some(order)), DateReading::Read(date) if date.iso == wanted),
                "{text}"
            );
        }
        day = day.tomorrow().expect("a day has a next");
    }
}
