//! `sightcord bench`: the page for the phone at the bench.

use std::net::IpAddr;
use std::path::PathBuf;

use anyhow::bail;
use clap::Args;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;

use crate::disk::scratch::{clear_away_on_interrupt, say_on_interrupt};
use crate::serve::network::{Network, networks};
use crate::serve::start::{open, serve};
use crate::visible::one_line;

const EXAMPLES: &str = "\
Examples:
  sightcord bench my-bike --phone       for a phone in the same network
  sightcord bench my-bike               for this computer's own browser";

/// A page for the phone at the bench: it takes the photos, shows what each of them shows and where
/// to stand next, and then the figures, the steps and the report.
///
/// Without --phone it can be opened on this computer alone. With it, anyone in the same network
/// and knows the address can open it; the address holds a secret that nobody guesses. Photos stay
/// on this computer, in the job folder. It runs until Ctrl-C, and goes on where it was when it is
/// started again.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct BenchArgs {
    /// The job folder, as the command begin makes it, or a folder of photos.
    folder: PathBuf,
    /// Open the page to phones in this computer's network.
    #[arg(long)]
    phone: bool,
    /// The address of this computer to open it at, where it is in several networks.
    #[arg(long, value_name = "ADDRESS", conflicts_with = "phone")]
    at: Option<IpAddr>,
    /// The port to open it at (default: the one it had last).
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    port: Option<u16>,
    /// Make a new address; those given out before lead nowhere then.
    #[arg(long)]
    new_address: bool,
    /// Print the address alone, without a code to scan.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command; it ends on Ctrl-C.
pub fn run(args: &BenchArgs) -> anyhow::Result<u8> {
    clear_away_on_interrupt();
    super::threads::start(None);
    let known = if args.phone || args.at.is_some() { networks() } else { Vec::new() };
    let network = match args.at {
        Some(at) => known.iter().find(|network| at == network.address),
        None => known.first(),
    };
    if args.phone && network.is_none() {
        bail!(
            "this computer is in no local network, so that no phone can reach it: switch on the phone's hotspot and connect the computer \
             to it, or join both to one router, and try again (docs/shed.md says more)"
        );
    }
    let at: Vec<IpAddr> =
        args.at.or(network.map(|network| network.address.into())).into_iter().collect();
    let opened = open(&args.folder, &at, args.port, args.new_address)?;
    let address = opened.addresses.first().cloned().unwrap_or_default();
    if args.quiet {
        super::print(&format!("{address}\n"))?;
    } else {
        let is_here = at.iter().all(IpAddr::is_loopback);
        super::print(&super::fitted(&words(
            args,
            &opened.folder.display().to_string(),
            opened.evening,
        )))?;
        super::print(&format!("\n  {address}\n\n"))?;
        if !is_here {
            super::print_styled(&code(&address))?;
        }
        super::print(&super::fitted(&after(is_here, network, &known)))?;
    }
    if !args.quiet {
        let (photos, folder) =
            (opened.photos(), one_line(&args.folder.display().to_string()).into_owned());
        say_on_interrupt(move || last_words(photos(), &folder));
    }
    serve(opened)?;
    Ok(super::DONE)
}

/// What is said after Ctrl-C.
pub fn last_words(photos: usize, folder: &str) -> String {
    let safe = match photos {
        0 => "No photo was taken yet.".to_owned(),
        1 => "The one photo of this evening is safe.".to_owned(),
        n => format!("All {n} photos of this evening are safe."),
    };
    format!("\nThe page of {folder} is closed. {safe} Started again, it goes on where it was.")
}

/// What is said before the address: what it opens, and how to open it.
pub fn words(args: &BenchArgs, folder: &str, evening: u32) -> String {
    let what =
        if evening > 1 { format!(" It continues evening {evening}.") } else { String::new() };
    let open = match args.phone || args.at.is_some_and(|at| !at.is_loopback()) {
        true => "Scan the code with the phone, or type the address into its browser:",
        false => "Open this address in a browser on this computer:",
    };
    format!(
        "The page for {} is open; photos go to {}.{what}\n{open}\n",
        one_line(&args.folder.display().to_string()),
        one_line(folder)
    )
}

/// What is said after the address: who can open it, and what to do where a phone can't.
pub fn after(is_here: bool, network: Option<&Network>, known: &[Network]) -> String {
    let mut text = String::new();
    if is_here {
        text.push_str(
            "Only this computer can open it. For a phone: connect phone and computer to one network, and start it again with --phone.\n",
        );
    } else {
        let whose = network.map_or_else(String::new, |network| format!(" ({})", network.words()));
        text.push_str(&format!(
            "It is open to this computer's network{whose}: anyone in it who knows the address sees the photos and can send some. The \
             address is a secret; nothing is encrypted on the way, so use a network of your own.\n"
        ));
        let others: Vec<String> = known
            .iter()
            .filter(|other| Some(*other) != network)
            .map(|other| format!("--at {} ({})", other.address, other.words()))
            .collect();
        if !others.is_empty() {
            text.push_str(&format!(
                "Is the phone in another network? Start it again with {}.\n",
                others.join(" or ")
            ));
        }
        text.push_str("The phone can't reach it? A firewall may be in the way: docs/shed.md.\n");
    }
    text + "Ctrl-C ends it. Started again, it goes on where it was.\n"
}

/// The address as a code for a phone's camera: black on white, whatever the terminal's colours.
pub fn code(address: &str) -> String {
    const BLACK_ON_WHITE: &str = "\u{1b}[30;107m";
    const PLAIN: &str = "\u{1b}[0m";
    let Ok(code) = QrCode::new(address) else { return String::new() };
    // A dark module is a block in the letters' colour.
    let drawn =
        code.render::<Dense1x2>().dark_color(Dense1x2::Dark).light_color(Dense1x2::Light).build();
    drawn.lines().map(|line| format!("  {BLACK_ON_WHITE}{line}{PLAIN}\n")).collect::<String>()
        + "\n"
}
