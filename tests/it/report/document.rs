//! The result document: same bytes, a schema that is current, and a way back from the file.

use std::path::{Path, PathBuf};

use sightcord::bench::figures::Figures;
use sightcord::figure::{Figure, RimPlace, Side};
use sightcord::finding::{Finding, Severity};
use sightcord::measurement::{Measurement, Quality};
use sightcord::report::read::ReadError;
use sightcord::report::result::{ResultDocument, ResultParts};

use crate::report::samples;

fn schema_file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/result.schema.json")
}

fn schema() -> String {
    let schema = schemars::schema_for!(ResultDocument);
    serde_json::to_string_pretty(&schema).unwrap() + "\n"
}

#[test]
fn the_schema_in_the_project_is_current() {
    if std::env::var_os("REGENERATE").is_some() {
        std::fs::create_dir_all(schema_file().parent().unwrap()).unwrap();
        std::fs::write(schema_file(), schema()).unwrap();
    }
    let kept = std::fs::read_to_string(schema_file())
        .expect("docs/result.schema.json is part of the project");
    assert!(
        kept == schema(),
        "docs/result.schema.json is out of date: run this test with REGENERATE=1 and look at the change"
    );
}

#[test]
fn every_sample_fits_the_schema() {
    let schema: serde_json::Value = serde_json::from_str(&schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (name, document) in samples::all() {
        let value: serde_json::Value = serde_json::from_str(&document.to_json()).unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&value)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
}

#[test]
fn the_schema_refuses_what_is_no_result() {
    let validator = jsonschema::validator_for(&serde_json::from_str(&schema()).unwrap()).unwrap();
    let mut value: serde_json::Value =
        serde_json::from_str(&samples::grass_track().to_json()).unwrap();
    value["wheel"]["offset"]["u"] = "small".into();
    assert!(!validator.is_valid(&value));
}

#[test]
fn a_result_comes_back_from_its_file_as_it_was() {
    for (name, document) in samples::all() {
        let json = document.to_json();
        let back = ResultDocument::from_json(json.as_bytes(), Path::new("result.json")).unwrap();
        assert_eq!(back, document, "{name}");
        assert_eq!(back.to_json(), json, "{name}");
    }
}

#[test]
fn keys_stand_in_the_order_of_the_contract() {
    let json = samples::swing_arm().to_json();
    let keys = [
        "schema",
        "program",
        "job",
        "pattern",
        "up",
        "rim",
        "rim_width",
        "wheel",
        "frame",
        "wheel_in_frame",
        "runout",
        "hub",
        "chain",
        "spindle",
        "plumb",
        "stations",
        "backbone",
        "faces",
        "track",
        "bench",
        "camera",
        "photos",
        "plan",
        "expected",
        "verdicts",
        "hand",
        "budget",
        "correlation",
        "crosscheck",
        "findings",
    ];
    let places: Vec<usize> = keys
        .iter()
        .map(|key| json.find(&format!("\n  \"{key}\": ")).unwrap_or_else(|| panic!("no {key}")))
        .collect();
    assert!(places.windows(2).all(|pair| pair[0] < pair[1]), "{places:?}");
}

#[test]
fn the_last_bits_of_a_number_never_show() {
    let plain = samples::grass_track_parts();
    let mut shaken = samples::grass_track_parts();
    let mut yaw = shaken.figures.get(&Figure::WheelYaw).unwrap();
    yaw.value = f64::from_bits(yaw.value.to_bits() + 3);
    shaken.figures.set(Figure::WheelYaw, Some(yaw));
    shaken.figures.correlation.matrix[0][1] *= 1.0 + 1e-15;
    shaken.figures.layout.axle.as_mut().unwrap()[1] += 1e-12;
    assert_eq!(ResultDocument::new(plain).to_json(), ResultDocument::new(shaken).to_json());
}

#[test]
fn a_figure_that_is_no_number_becomes_null_and_a_finding_names_it() {
    let mut parts = samples::grass_track_parts();
    let rim = Figure::RimOffset(RimPlace::at_mark("1-mark-forward", Side::Left));
    parts.figures.set(
        Figure::WheelYaw,
        Some(Measurement { value: f64::NAN, u: 0.1, quality: Quality::Good }),
    );
    parts.figures.set(
        rim.clone(),
        Some(Measurement { value: 1.0, u: f64::INFINITY, quality: Quality::Good }),
    );
    let document = ResultDocument::new(parts);
    assert_eq!(document.figure(&Figure::WheelYaw), None);
    assert_eq!(document.figure(&rim), None);
    for pointer in ["/wheel/yaw", "/rim/1-mark-forward/left/offset"] {
        let named = document
            .findings
            .iter()
            .any(|f| f.field.as_deref() == Some(pointer) && f.severity == Severity::Refused);
        assert!(named, "{pointer}");
    }
    assert!(!document.to_json().contains("NaN"));
}

#[test]
fn a_stray_number_beside_the_figures_does_not_cost_the_result() {
    let mut parts = samples::grass_track_parts();
    parts.figures.layout.axle = Some([0.0, f64::NAN, 330.0]);
    parts.camera[0].k1 = f64::INFINITY;
    let document = ResultDocument::new(parts);
    assert!(document.figure(&Figure::WheelYaw).is_some());
    ResultDocument::from_json(document.to_json().as_bytes(), Path::new("result.json"))
        .expect("it can be read again");
    assert!(document.findings.iter().any(|finding| finding.id == "result-not-a-number"));
}

#[test]
fn every_null_figure_is_named_by_a_finding() {
    for (name, document) in samples::all() {
        for (figure, measured) in document.measured.table.iter() {
            let pointer = figure.pointer();
            let named = document.findings.iter().any(|finding| {
                finding.field.as_deref().is_some_and(|field| pointer.starts_with(field))
            });
            assert!(measured.is_some() || named, "{name}: {pointer}");
        }
    }
}

#[test]
fn findings_come_gravest_first_and_once() {
    let mut parts = samples::grass_track_parts();
    let twice = Finding::warning("cord-moved", "The cord moved.", "Leave it.");
    parts.findings.extend([twice.clone(), twice]);
    let findings = ResultDocument::new(parts).findings;
    assert!(
        findings.windows(2).all(|pair| pair[0].severity >= pair[1].severity && pair[0] != pair[1])
    );
}

#[test]
fn figures_and_covariance_come_back_for_a_new_plan() {
    let parts = samples::grass_track_parts();
    let u = |figure: Figure| parts.figures.get(&figure).unwrap().u;
    let (u_offset, u_yaw) = (u(Figure::WheelOffset), u(Figure::WheelYaw));
    let back: Figures = ResultDocument::new(parts).to_figures();
    assert_eq!(back.joint.fields, ["/wheel/offset", "/wheel/yaw"]);
    let (su, sy) = (u_offset / 2.0, u_yaw / 2.0);
    let expected = [[su * su, 0.071_234_567_8 * su * sy], [0.071_234_567_8 * su * sy, sy * sy]];
    for (row, expected_row) in back.joint.matrix.iter().zip(expected) {
        for (value, expected) in row.iter().zip(expected_row) {
            approx::assert_relative_eq!(*value, expected, max_relative = 1e-5);
        }
    }
}

#[test]
fn a_covariance_made_by_hand_does_not_panic() {
    let mut document = samples::grass_track();
    document.correlation.matrix = vec![vec![1.0], vec![]];
    assert!(document.to_figures().joint.matrix.is_empty());
    document.correlation.fields.push(Figure::at("/no/such/figure"));
    document.correlation.matrix = vec![];
    assert!(document.to_figures().joint.matrix.is_empty());
}

fn error_of(bytes: &[u8]) -> ReadError {
    ResultDocument::from_json(bytes, Path::new("some/result.json")).unwrap_err()
}

#[test]
fn reading_tells_what_is_wrong() {
    assert!(matches!(error_of(b"no json"), ReadError::NotJson { .. }));
    assert!(matches!(error_of(b"[1, 2]"), ReadError::OtherSchema { .. }));
    assert!(matches!(
        error_of(br#"{"schema": "sightcord-result/x"}"#),
        ReadError::OtherSchema { .. }
    ));
    assert!(matches!(error_of(br#"{"schema": "sightcord-result/2"}"#), ReadError::Later { .. }));
    assert!(matches!(error_of(br#"{"schema": "sightcord-result/1"}"#), ReadError::Broken { .. }));
    for (bytes, said) in [
        (&b"no json"[..], "is not JSON"),
        (br#"{"schema": "recipe/1"}"#, "its \"schema\" is \"recipe/1\""),
        (br#"{"schema": "sightcord-result/7"}"#, "later form"),
        (br#"{"schema": "sightcord-result/1"}"#, "missing field"),
    ] {
        let text = error_of(bytes).to_string();
        assert!(text.contains(said) && text.contains("some/result.json"), "{text}");
    }
}

#[test]
fn a_result_is_found_from_its_file_its_report_or_its_job() {
    let job = tempfile::tempdir().unwrap();
    let report = job.path().join("report");
    std::fs::create_dir(&report).unwrap();
    std::fs::write(report.join("result.json"), samples::grass_track().to_json()).unwrap();
    for path in [job.path().to_owned(), report.clone(), report.join("result.json")] {
        assert_eq!(ResultDocument::read(&path).unwrap(), samples::grass_track());
    }
    let missing = ResultDocument::read(&job.path().join("elsewhere")).unwrap_err();
    assert!(matches!(missing, ReadError::NotFound(_)), "{missing}");
}

#[test]
fn fields_a_later_program_adds_are_ignored() {
    let mut value: serde_json::Value =
        serde_json::from_str(&samples::grass_track().to_json()).unwrap();
    value["wheel"]["colour"] = "black".into();
    value["weather"] = "dry".into();
    let back = ResultDocument::from_json(value.to_string().as_bytes(), Path::new("r")).unwrap();
    assert_eq!(back, samples::grass_track());
}

#[test]
fn an_empty_job_gives_a_document_too() {
    let document = ResultDocument::new(ResultParts::default());
    ResultDocument::from_json(document.to_json().as_bytes(), Path::new("r")).unwrap();
}
