//! Our machinery against values that others have published. Each check names its source and says
//! how the value was had: "seen" in the named source, "remembered" from it, or "computed" from seen
//! data with another tool. Checks that read photos or point lists need the shared data next to the
//! checkout.

mod calib1;
mod circle;
mod fit;
mod gum;
mod line;
mod monte_carlo;
mod negative;
mod nist;
mod planar;
mod plane_maps;
mod projection;
mod stereo;
mod zhang;

/// Where the shared data lie.
const DATA: &str = "../shared/reference/data";

/// A text file of the shared data.
fn shared(name: &str) -> String {
    std::fs::read_to_string(format!("{DATA}/{name}"))
        .unwrap_or_else(|error| panic!("{DATA}/{name}: {error}"))
}

/// All numbers of a text; what follows a `#` on a line is left out.
fn numbers(text: &str) -> Vec<f64> {
    let code = text.lines().map(|line| line.split('#').next().unwrap_or_default());
    code.flat_map(str::split_whitespace).map(|word| word.parse().expect("a number")).collect()
}
