//! The view from the bike's left, front at the left, with the places the photos were taken from.
//! True to scale throughout.

use super::bike::Bike;
use super::canvas::{Anchor, Canvas, Drawing, Place};

/// Along the bike x, above the bench z: on the sheet.
fn sheet(p: [f64; 3]) -> Place {
    [-p[0], -p[2]]
}

/// No camera further away than this is drawn, mm: one wild pose must not shrink the bike to a dot.
const FAR: f64 = 5000.0;

pub fn side(bike: &Bike) -> Drawing {
    let layout = &bike.document.layout;
    let mut canvas = Canvas::default();
    let cameras: Vec<&(String, [f64; 3])> =
        layout.cameras.iter().filter(|(_, at)| at.iter().all(|x| x.abs() < FAR)).collect();
    let span = cameras.iter().map(|(_, at)| at[0]).chain([-400.0, 750.0]);
    let (rear, front) =
        span.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
    // The sheet is as wide as the cameras stand apart; letters grow with it, so that they stay
    // readable.
    let letters = ((front - rear) / 27.0).max(13.0);
    canvas.line("bench", sheet([rear, 0.0, 0.0]), sheet([front, 0.0, 0.0]));
    for (name, a, b) in &layout.lines {
        let class = if name == "cord" { "cord" } else { "plumb-line" };
        canvas.line(class, sheet(*a), sheet(*b));
    }
    for card in layout.marks.iter().filter(|mark| mark.kind == "card") {
        let [x, y, z] = card.at;
        canvas.line("card-edge", sheet([x - 130.0, y, z]), sheet([x + 130.0, y, z]));
    }
    bike_parts(&mut canvas, bike);
    for tab in layout.marks.iter().filter(|mark| mark.kind == "tab") {
        let class = if tab.setup.is_empty() { "tab" } else { "tab turned" };
        canvas.mark(class, sheet(tab.at), letters * 0.2, &Bike::mark_name(tab), tab.at[1]);
    }
    for (file, at) in &cameras {
        camera(&mut canvas, sheet(*at), at[1] > 0.0, letters * 0.45, file);
    }
    canvas.words("label", sheet([front, 0.0, -1.6 * letters]), Anchor::Start, letters, "front");
    canvas.words("label", sheet([rear, 0.0, -1.6 * letters]), Anchor::End, letters, "rear");
    canvas.scale_bar(letters);
    let left = cameras.iter().filter(|(_, at)| at[1] > 0.0).count();
    let words = format!(
        "View from the bike's left, front at the left, true to scale: {} cameras, {left} of them on the left side and {} on the right",
        cameras.len(),
        cameras.len() - left
    );
    canvas.finish(&words, 1.0)
}

fn bike_parts(canvas: &mut Canvas, bike: &Bike) {
    if let Some(wheel) = bike.wheel {
        canvas.circle("wheel", sheet(wheel.axle), wheel.radius);
        canvas.circle("wheel", sheet(wheel.axle), wheel.radius - 22.0);
        canvas.circle("axle", sheet(wheel.axle), 8.0);
    }
    let sprockets: Vec<_> =
        [bike.rear_sprocket, bike.gearbox_sprocket].into_iter().flatten().collect();
    for sprocket in &sprockets {
        canvas.circle("sprocket-face", sheet(sprocket.centre), sprocket.radius);
    }
    if let [rear, gearbox] = sprockets.as_slice() {
        // The chain's two runs, from the top and the bottom of one sprocket to those of the other:
        // near enough for a picture.
        for sign in [1.0, -1.0] {
            let run = |s: &super::bike::Sprocket| {
                sheet([s.centre[0], s.centre[1], s.centre[2] + sign * s.radius])
            };
            canvas.line("chain", run(rear), run(gearbox));
        }
    }
}

/// A camera: a triangle standing on its base for the left side, on its tip for the right.
fn camera(canvas: &mut Canvas, at: Place, is_left: bool, size: f64, file: &str) {
    let up = if is_left { 1.0 } else { -1.0 };
    let [x, y] = at;
    let class = if is_left { "camera" } else { "camera far" };
    let points =
        [[x, y - up * size], [x + size, y + up * size * 0.8], [x - size, y + up * size * 0.8]];
    canvas.titled_polygon(class, &points, file);
}
