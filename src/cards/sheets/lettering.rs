//! Letters on a sheet: widths, line breaks, and the fonts embedded in a document (only the glyphs
//! that were used).
//!
//! The fonts come from the crate `dejavu` (DejaVu Sans, free to embed). Text stays text: it can be
//! selected and searched.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Name, Pdf, Rect, Ref, Str};
use skrifa::charmap::Charmap;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::{GlyphMetrics, Metrics};
use skrifa::{FontRef, GlyphId, MetadataProvider};
use subsetter::GlyphRemapper;

/// The faces used on our sheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    Plain,
    Bold,
    Narrow,
}

/// A font file and what of it is asked for often; lengths in the font's own units.
struct LoadedFace {
    data: &'static [u8],
    characters: Charmap<'static>,
    glyphs: GlyphMetrics<'static>,
    metrics: Metrics,
}

impl LoadedFace {
    fn new(data: &'static [u8]) -> Self {
        // The bytes are compiled in: whether they parse does not depend on any input, and every
        // test of a sheet proves it.
        let file = FontRef::new(data).expect("the font that ships with the program is a font");
        let (size, upright) = (Size::unscaled(), LocationRef::default());
        Self {
            data,
            characters: file.charmap(),
            glyphs: file.glyph_metrics(size, upright),
            metrics: file.metrics(size, upright),
        }
    }

    fn advance(&self, glyph: GlyphId) -> f64 {
        f64::from(self.glyphs.advance_width(glyph).unwrap_or(0.0))
    }

    fn units_per_em(&self) -> f64 {
        f64::from(self.metrics.units_per_em)
    }
}

static PLAIN: LazyLock<LoadedFace> = LazyLock::new(|| LoadedFace::new(dejavu::sans::regular()));
static BOLD: LazyLock<LoadedFace> = LazyLock::new(|| LoadedFace::new(dejavu::sans::bold()));
static NARROW: LazyLock<LoadedFace> =
    LazyLock::new(|| LoadedFace::new(dejavu::sans_condensed::regular()));

const SYSTEM_INFO: SystemInfo =
    SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

impl Face {
    fn loaded(self) -> &'static LoadedFace {
        match self {
            Self::Plain => &PLAIN,
            Self::Bold => &BOLD,
            Self::Narrow => &NARROW,
        }
    }

    /// Name of the font in a page's resources.
    pub fn resource_name(self) -> Name<'static> {
        match self {
            Self::Plain => Name(b"Plain"),
            Self::Bold => Name(b"Bold"),
            Self::Narrow => Name(b"Narrow"),
        }
    }

    /// PostScript name; six letters and a plus sign mark a subset (ISO 32000-1, 9.6.4).
    fn base_font(self) -> &'static [u8] {
        match self {
            Self::Plain => b"SCPLAI+DejaVuSans",
            Self::Bold => b"SCBOLD+DejaVuSans-Bold",
            Self::Narrow => b"SCNARR+DejaVuSansCondensed",
        }
    }

    /// Nominal weight as in OpenType's usWeightClass, for the upright stems' thickness below.
    fn stem_v(self) -> f32 {
        match self {
            Self::Plain | Self::Narrow => 80.0,
            Self::Bold => 140.0,
        }
    }

    /// The glyph of a character; glyph 0, an empty box, where the font has none.
    fn glyph(self, character: char) -> GlyphId {
        self.loaded().characters.map(character).unwrap_or(GlyphId::NOTDEF)
    }

    /// Width of a text in units of its size.
    fn width_em(self, text: &str) -> f64 {
        let loaded = self.loaded();
        let units: f64 = text.chars().map(|c| loaded.advance(self.glyph(c))).sum();
        units / loaded.units_per_em()
    }

    /// Width of a text set at a size (the em), mm.
    pub fn width_mm(self, text: &str, size_mm: f64) -> f64 {
        self.width_em(text) * size_mm
    }

    /// A text broken at spaces into lines no wider than this. A single word that is wider gets
    /// a line of its own.
    pub fn wrap(self, text: &str, size_mm: f64, width_mm: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match lines.last_mut() {
                Some(line) if self.width_mm(&format!("{line} {word}"), size_mm) <= width_mm => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(word.to_owned()),
            }
        }
        lines
    }
}

/// Which glyphs a document uses, face by face.
#[derive(Default)]
pub struct UsedGlyphs {
    faces: BTreeMap<Face, FaceUse>,
}

#[derive(Default)]
struct FaceUse {
    remapper: GlyphRemapper,
    /// New glyph number and character, in the order of first use.
    characters: BTreeMap<u16, char>,
}

impl UsedGlyphs {
    /// The text as two-byte glyph numbers of the face's subset, noted as used.
    pub fn encode(&mut self, face: Face, text: &str) -> Vec<u8> {
        let used = self.faces.entry(face).or_default();
        let mut codes = Vec::with_capacity(2 * text.len());
        for character in text.chars() {
            let glyph = used.remapper.remap(face.glyph(character).to_u32() as u16);
            used.characters.entry(glyph).or_insert(character);
            codes.extend(glyph.to_be_bytes());
        }
        codes
    }

    /// Writes the used faces into a document and returns each one's reference.
    pub fn embed(&self, pdf: &mut Pdf, next: &mut impl FnMut() -> Ref) -> Vec<(Face, Ref)> {
        self.faces.iter().map(|(&face, used)| (face, embed_face(pdf, face, used, next))).collect()
    }
}

/// One face as a composite font whose codes are glyph numbers (ISO 32000-1, 9.7).
fn embed_face(pdf: &mut Pdf, face: Face, used: &FaceUse, next: &mut impl FnMut() -> Ref) -> Ref {
    let loaded = face.loaded();
    let [font, cid_font, descriptor, font_data, to_unicode] = std::array::from_fn(|_| next());
    let per_mille = |units: f64| (units * 1000.0 / loaded.units_per_em()) as f32;
    let base_font = Name(face.base_font());

    pdf.type0_font(font)
        .base_font(base_font)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid_font)
        .to_unicode(to_unicode);

    let mut cid = pdf.cid_font(cid_font);
    cid.subtype(CidFontType::Type2).base_font(base_font).system_info(SYSTEM_INFO);
    cid.font_descriptor(descriptor).default_width(0.0).cid_to_gid_map_predefined(Name(b"Identity"));
    let widths =
        used.remapper.remapped_gids().map(|old| per_mille(loaded.advance(GlyphId::from(old))));
    cid.widths().consecutive(0, widths);
    drop(cid);

    let metrics = &loaded.metrics;
    let bounds = metrics.bounds.unwrap_or_default();
    pdf.font_descriptor(descriptor)
        .name(base_font)
        .flags(FontFlags::NON_SYMBOLIC)
        .bbox(Rect::new(
            per_mille(bounds.x_min.into()),
            per_mille(bounds.y_min.into()),
            per_mille(bounds.x_max.into()),
            per_mille(bounds.y_max.into()),
        ))
        .italic_angle(0.0)
        .ascent(per_mille(metrics.ascent.into()))
        .descent(per_mille(metrics.descent.into()))
        .cap_height(per_mille(metrics.cap_height.unwrap_or(metrics.ascent).into()))
        .stem_v(face.stem_v())
        .font_file2(font_data);

    let subset = subsetter::subset(loaded.data, 0, &used.remapper)
        .expect("the font that ships with the program can be cut down");
    let packed = super::deflate::deflate(&subset);
    let mut stream = pdf.stream(font_data, &packed);
    stream.filter(pdf_writer::Filter::FlateDecode).pair(Name(b"Length1"), subset.len() as i32);
    drop(stream);

    let mut cmap = UnicodeCmap::new(Name(b"ToUnicode"), SYSTEM_INFO);
    for (&glyph, &character) in &used.characters {
        cmap.pair(glyph, character);
    }
    pdf.cmap(to_unicode, &cmap.finish());
    font
}
