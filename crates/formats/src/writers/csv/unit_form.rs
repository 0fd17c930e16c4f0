//! Units in the heads of columns, `umol_L` and `per_cm`, and back again.

use curvary_record::Unit;

/// A unit as part of a head: its slug, and for a percentage what it is a percentage of (`percent_v_v`).
pub(super) fn form(unit: &Unit) -> String {
    let mut form = unit.slug();
    if let Some((_, note)) = unit.code().split_once("%{") {
        for word in note
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|word| !word.is_empty())
        {
            form.push('_');
            form.push_str(word);
        }
    }
    form
}

/// The unit of a form; `None` when no unit has it. Of units of one form, which are of one size, one without annotations.
///
/// A form is numerators joined by `_x_`, then denominators joined by `_`, so it is taken apart the same way; what comes
/// out counts only if its own form is the one that was asked about.
pub(crate) fn unit_of(asked: &str) -> Option<Unit> {
    if let Some(kind) = asked.strip_prefix("percent_") {
        let unit = Unit::ucum(&format!("%{{{}}}", kind.replace('_', "/"))).ok()?;
        return (form(&unit) == asked).then_some(unit);
    }
    let mut over: Vec<&str> = asked.split("_x_").collect();
    let mut under: Vec<&str> = Vec::new();
    if let Some(rest) = asked.strip_prefix("per_") {
        (over, under) = (Vec::new(), rest.split('_').collect());
    } else if let Some(last) = over.pop() {
        let mut parts = last.split('_');
        over.extend(parts.next());
        under.extend(parts);
    }
    let mut code = over
        .iter()
        .map(|part| factor(part))
        .collect::<Option<Vec<_>>>()?
        .join(".");
    for part in under {
        code.push('/');
        code.push_str(&factor(part)?);
    }
    let unit = Unit::ucum(&code).ok()?;
    (form(&unit) == asked).then_some(unit)
}

/// The code of one factor: `umol`, `cm2`, `10m3`, `percent`, `degF`.
fn factor(part: &str) -> Option<String> {
    if let Some(power) = part.strip_prefix("10") {
        let power = power
            .strip_prefix('m')
            .map_or_else(|| power.to_owned(), |minus| format!("-{minus}"));
        return power.parse::<i8>().is_ok().then(|| format!("10*{power}"));
    }
    let name = part.trim_end_matches(|c: char| c.is_ascii_digit());
    let exponent = &part[name.len()..];
    let code = match name {
        "percent" => "%".to_owned(),
        "arb" => "[arb'U]".to_owned(),
        "IU" => "[iU]".to_owned(),
        "mAU" => "10*-3.{AU}".to_owned(),
        _ => [name.to_owned(), format!("[{name}]")]
            .into_iter()
            .find(|code| Unit::ucum(code).is_ok_and(|unit| unit.slug() == name))?,
    };
    Some(code + exponent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_come_back() {
        for code in [
            "nm",
            "/cm",
            "%",
            "%{v/v}",
            "%{w/v}",
            "umol/L",
            "L/mol/cm",
            "10*-3.deg",
            "10*3.L/mol/cm",
            "W/m2/nm",
            "uW/cm2",
            "mJ/cm2",
            "cm2",
            "[degF]",
            "Cel",
            "[ppm]",
            "10*-3.{AU}/min",
            "/m",
            "mV",
            "nA",
            "K/min",
            "[arb'U]",
            "mol/m3",
            "kPa",
        ] {
            let unit = Unit::ucum(code).expect("a unit");
            let back = unit_of(&form(&unit)).unwrap_or_else(|| panic!("{code}: {}", form(&unit)));
            assert_eq!(
                (back.to_si(1.0), back.dimension()),
                (unit.to_si(1.0), unit.dimension()),
                "{code}"
            );
        }
        for no in ["", "per_", "absorbance", "x", "_", "10", "percent_", "a_x_"] {
            assert_eq!(unit_of(no), None, "{no}");
        }
    }
}
