//! The lens model: its derivatives, its inverse and its limits.

use approx::assert_relative_eq;
use nalgebra::Vector3;

use sightcord::camera::lens::{Lens, N_LENS};

fn lens() -> Lens {
    Lens {
        fx: 2450.0,
        fy: 2440.0,
        cx: 1640.5,
        cy: 1217.5,
        k1: 0.09,
        k2: -0.16,
        p1: 4e-4,
        p2: -3e-4,
        k3: 0.05,
    }
}

#[test]
fn derivatives_equal_differences() {
    let p = Vector3::new(210.0, -160.0, 700.0);
    let (_, by_point, by_lens) = lens().project_with_derivatives(&p).unwrap();
    for i in 0..3 {
        let mut step = Vector3::zeros();
        step[i] = 1e-3;
        let slope =
            (lens().project(&(p + step)).unwrap() - lens().project(&(p - step)).unwrap()) / 2e-3;
        assert_relative_eq!(slope, by_point.column(i).into_owned(), epsilon = 1e-6);
    }
    for i in 0..N_LENS {
        let shifted = |sign: f64| {
            let mut a = lens().to_array();
            a[i] += sign * 1e-4;
            Lens::from_array(a).project(&p).unwrap()
        };
        assert_relative_eq!(
            (shifted(1.0) - shifted(-1.0)) / 2e-4,
            by_lens.column(i).into_owned(),
            epsilon = 1e-5
        );
    }
}

#[test]
fn direction_undoes_project() {
    let p = Vector3::new(0.41, -0.33, 1.0);
    let pixel = lens().project(&p).unwrap();
    assert_relative_eq!(lens().direction(&pixel).unwrap(), p, epsilon = 1e-10);
}

#[test]
fn directions_beyond_the_turning_point_are_refused() {
    let turning = Lens { k1: -0.3, k2: 0.0, k3: 0.0, ..lens() };
    assert!(turning.project(&Vector3::new(2.0, 0.0, 1.0)).is_none());
    assert!(lens().project(&Vector3::new(0.0, 0.0, -1.0)).is_none());
}
