//! The variogram against a published fit on open data.
//!
//! meuse (155 topsoil samples, Burrough & McDonnell 1998) as the Python package `scikit-gstat` ships it. Published at
//! r-spatial.org for log(zinc), constant mean, spherical model from start values (1, 900, 1): nugget 0.05066243, partial sill
//! 0.59060780, range 897.0209 m. Classes there: up to a third of the bounding box's diagonal, fifteen of them; the
//! weights are pairs / lag².

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::outside::{given, printed};

use fanmill::stats::variogram::{Estimator, LagClasses, Shape, empirical, fit};

/// The data file inside the installed package, where the environment names a Python that has it.
fn meuse() -> Option<PathBuf> {
    let python = given("FANMILL_PYTHON")?;
    let package =
        printed(Command::new(python).args(["-c", "import skgstat; print(skgstat.__path__[0])"]));
    Some(Path::new(package.trim()).join("data/samples/meuse.txt"))
}

/// Positions, m, and the natural logarithm of zinc, ppm.
fn log_zinc(file: &Path) -> (Vec<[f64; 2]>, Vec<f64>) {
    let text = std::fs::read_to_string(file).expect("meuse is readable");
    let separator = if text.contains('\t') { '\t' } else { ',' };
    let mut lines = text.lines();
    let names: Vec<&str> = lines
        .next()
        .expect("a header")
        .split(separator)
        .map(|n| n.trim_matches('"'))
        .collect();
    let column = |name| {
        names
            .iter()
            .position(|n| *n == name)
            .unwrap_or_else(|| panic!("no column {name}"))
    };
    let (x, y, zinc) = (column("x"), column("y"), column("zinc"));
    lines
        .map(|line| {
            let cells: Vec<f64> = line
                .split(separator)
                .map(|c| c.parse().unwrap_or(f64::NAN))
                .collect();
            ([cells[x], cells[y]], cells[zinc].ln())
        })
        .unzip()
}

#[test]
fn meuse_gives_the_published_spherical_model() {
    let Some(file) = meuse() else { return };
    let (positions, values) = log_zinc(&file);
    assert_eq!(values.len(), 155);
    let extent = |axis: usize| {
        let all = || positions.iter().map(|p| p[axis]);
        all().fold(f64::NEG_INFINITY, f64::max) - all().fold(f64::INFINITY, f64::min)
    };
    let width = extent(0).hypot(extent(1)) / 3.0 / 15.0;
    let classes = empirical(
        &positions,
        &values,
        LagClasses { width, count: 15 },
        Estimator::Matheron,
        usize::MAX,
        None,
    );
    // Pairs of the first class, published on the same page's table of the sample variogram (from memory).
    assert_eq!(classes[0].pairs, 57);
    let model = fit(&classes, Shape::Spherical).expect("meuse has structure");
    assert!((model.nugget - 0.050_662_43).abs() < 2e-5, "{model:?}");
    assert!(
        (model.partial_sill - 0.590_607_80).abs() < 2e-5,
        "{model:?}"
    );
    assert!((model.range - 897.0209).abs() < 0.02, "{model:?}");
}
