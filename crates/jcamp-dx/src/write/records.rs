//! Single records: labels with texts and numbers.

use super::{DocumentWriter, Version};
use crate::asdf::encode::COLUMNS;
use crate::curve::Decimals;
use crate::number::print;
use crate::remark::Code;
use crate::text::{record, remark, safe};

impl DocumentWriter<'_> {
    pub(super) fn plain(&mut self, label: &str, value: &str) {
        self.out.push_str("##");
        self.out.push_str(label);
        self.out.push('=');
        if !value.is_empty() {
            self.out.push(' ');
            self.out.push_str(value);
        }
        self.out.push_str("\r\n");
    }

    pub(super) fn text(&mut self, label: &str, value: &str) {
        let value = safe(label, value, self.options.non_ascii, &mut self.remarks);
        record(label, &value, COLUMNS, &mut self.out, &mut self.remarks);
    }

    pub(super) fn mandatory(&mut self, label: &str, value: &str) {
        if value.trim().is_empty() {
            self.remarks.push(remark(
                Code::MandatoryEmpty,
                format!("{label} without a value"),
                "a text",
            ));
        }
        self.text(label, value);
    }

    pub(super) fn number(&mut self, label: &str, value: f64, decimals: Option<u16>) {
        let mut text = String::new();
        print(value, decimals, &mut text);
        self.plain(label, &text);
    }

    pub(super) fn version(&mut self) {
        let number = match self.options.version {
            Version::V4_24 => "4.24",
            Version::V5_01 => "5.01",
        };
        let program = self.options.program.trim().replace(['\n', '\r'], " ");
        if program.is_empty() {
            return self.plain("JCAMP-DX", number);
        }
        let program = safe("JCAMP-DX", &program, self.options.non_ascii, &mut self.remarks);
        let line: String = format!("{number} $$ {program}")
            .chars()
            .take(COLUMNS - 12)
            .collect();
        self.plain("JCAMP-DX", line.trim_end());
    }
}

pub(super) fn optional(value: Option<f64>, decimals: &Decimals, index: usize, out: &mut String) -> usize {
    match value {
        Some(value) => usize::from(print(value, decimals.of(index), out)),
        None => {
            out.push('?');
            0
        }
    }
}
