use sightcord::scene::observe::Shown;
#[test]
#[ignore]
fn cord() {
    let set = std::env::var("SET").unwrap();
    let folder = sightcord::pipeline::open(std::path::Path::new(&format!("../shared/photos/{set}"))).unwrap();
    let m = sightcord::pipeline::measure(folder, &|_| {});
    let s = m.solution.unwrap();
    for c in &s.state.cords {
        println!("{c:?}");
    }
    for b in &s.blocks {
        if matches!(b.shown, Shown::Cord(_)) {
            let l = sightcord::scene::residual::lengths(&s.state, &s.slots, b);
            let photo = s.view_of.iter().position(|v| *v == Some(b.view)).unwrap();
            println!(
                "{} noise {:.1}: {}",
                m.photos[photo].file.id,
                b.noise,
                b.points
                    .iter()
                    .zip(l)
                    .map(|(p, r)| format!("{:.2}px/{:.2}{}", r * p.sigma * b.noise, p.sigma, if p.used { "" } else { "*" }))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
    }
}
