//! The corner fit against drawn corners whose place is known, and against the shared photos' truth.

mod shared_truth;

use shared_truth::{Dice, SETS, TruthPhoto, TruthPose, TruthSet, robust};
use sightcord::sightings::corner_fit::{CornerGuess, fit_corner};

/// A guess at corner (r, c): the truth's lattice steps, and the truth's place with an error of up to `jitter` px.
fn guess_from_truth(
    photo: &TruthPhoto,
    pose: &TruthPose,
    r: usize,
    c: usize,
    jitter: f64,
    dice: &mut Dice,
) -> Option<(CornerGuess, [f64; 2])> {
    let project = |dr: f64, dc: f64| photo.project(pose.node(r as f64 + dr, c as f64 + dc));
    let truth = project(0.0, 0.0)?;
    let step = |a: [f64; 2], b: [f64; 2]| [b[0] - a[0], b[1] - a[1]];
    let guess = CornerGuess {
        at: [truth[0] + jitter * (2.0 * dice.uniform() - 1.0), truth[1] + jitter * (2.0 * dice.uniform() - 1.0)],
        along_row: step(project(0.0, -0.5)?, project(0.0, 0.5)?),
        along_col: step(project(-0.5, 0.0)?, project(0.5, 0.0)?),
        first_dark: pose.pattern.is_dark(r - 1, c - 1),
    };
    Some((guess, truth))
}

#[test]
#[ignore = "needs ../shared"]
fn corners_of_the_shared_photos_lie_where_the_truth_projects() {
    for name in SETS {
        let set = TruthSet::load(name);
        let mut dice = Dice(7);
        let (mut errors, mut pulls, mut n_tried, mut blurs, mut residuals, mut by_size) =
            (Vec::new(), Vec::new(), 0, vec![], vec![], vec![]);
        let mut seconds = 0.0;
        for photo in &set.photos {
            let image = photo.image();
            let mut patterns = set.cards.clone();
            patterns.extend(set.tabs(photo));
            for pose in patterns.iter().filter(|pose| photo.faces(pose)) {
                for (r, c) in pose.pattern.corners() {
                    let Some((guess, truth)) = guess_from_truth(photo, pose, r, c, 1.0, &mut dice) else { continue };
                    let cell = guess.along_row[0].hypot(guess.along_row[1]).min(guess.along_col[0].hypot(guess.along_col[1]));
                    n_tried += 1;
                    let clock = std::time::Instant::now();
                    let fit = fit_corner(&image, &guess);
                    seconds += clock.elapsed().as_secs_f64();
                    let Some(fit) = fit else { continue };
                    let error = [fit.at[0] - truth[0], fit.at[1] - truth[1]];
                    by_size.push((cell, pose.pitch, error, fit.cov));
                    blurs.push(fit.blur);
                    residuals.push(fit.residual);
                    if matches!(pose.pattern, sightcord::cards::Pattern::Card(_)) {
                        errors.extend(error);
                        pulls.extend([error[0] / fit.cov[0].sqrt(), error[1] / fit.cov[2].sqrt()]);
                    }
                }
            }
        }
        let (bias, sd) = robust(&errors);
        let beyond = errors.iter().filter(|e| e.abs() > 5.0 * sd).count() as f64 / errors.len() as f64;
        println!(
            "{name}: {n_tried} tried, {} fitted, bias {bias:.4} sd {sd:.4} px, beyond 5 sd {beyond:.4}, pull {:.2}, blur {:.2?}, residual {:.3?}, {:.1} us each",
            by_size.len(),
            robust(&pulls).1,
            robust(&blurs),
            robust(&residuals),
            seconds / n_tried as f64 * 1e6
        );
        let wide = by_size.iter().filter(|b| b.2[0].hypot(b.2[1]) > 0.3).count();
        println!("   beyond 0.3 px: {wide}");
        for edge in [4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 30.0, 60.0] {
            let of: Vec<_> = by_size.iter().filter(|b| b.0 >= edge && b.0 < edge * 1.35).collect();
            let errors: Vec<f64> = of.iter().flat_map(|b| b.2).collect();
            let pulls: Vec<f64> = of.iter().flat_map(|b| [b.2[0] / b.3[0].sqrt(), b.2[1] / b.3[2].sqrt()]).collect();
            println!(
                "   cell {edge:4} px: n {:5} bias {:.4} sd {:.4} pull {:.2}",
                of.len(),
                robust(&errors).0,
                robust(&errors).1,
                robust(&pulls).1
            );
        }
        let limit = if name == "swing-arm" { 0.04 } else { 0.03 };
        assert!(sd <= limit, "{name}: robust standard deviation {sd:.4} px");
        assert!(bias.abs() < 0.003, "{name}: bias {bias:.4} px");
    }
}
