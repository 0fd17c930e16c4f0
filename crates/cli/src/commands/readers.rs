//! `curvary readers`: who can read what.

use std::io::Write;

use clap::Args;
use serde::Serialize;

use crate::desk::{Desk, ReadingOptions};
use crate::ending::{Ending, Outcome};
use crate::screen::Screen;
use crate::table::{Column, Shorten, Table};

/// List the readers that turn files into runs
#[derive(Debug, Args)]
pub(crate) struct Readers {
    /// Print a JSON list of objects with id, version and title
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Shape<'a> {
    id: &'a str,
    version: &'a str,
    title: &'a str,
}

impl Readers {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> Outcome {
        let desk = Desk::new(&ReadingOptions::default(), None)?;
        let cards = || desk.readers().iter().map(curvary_formats::Reader::card);
        if self.json {
            let list: Vec<Shape<'_>> = cards()
                .map(|card| Shape {
                    id: &card.id,
                    version: &card.version,
                    title: &card.title,
                })
                .collect();
            screen.json(&list)?;
            return Ok(Ending::Done);
        }
        let mut table = Table::new([
            Column::new("reader"),
            Column::new("version").rank(1),
            Column::new("reads").shorten(Shorten::End),
        ]);
        for card in cards() {
            table.row([
                card.id.as_str().into(),
                card.version.as_str().into(),
                card.title.as_str().into(),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        Ok(Ending::Done)
    }
}
