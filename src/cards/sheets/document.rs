//! Pages become one PDF file. Nothing in it depends on the clock, the machine or chance: the same
//! order gives the same bytes.

use pdf_writer::{Filter, Name, Pdf, Rect, Ref, TextStr};

use super::canvas::{Canvas, POINTS_PER_MM};
use super::deflate::deflate;
use super::lettering::UsedGlyphs;

/// A document being drawn, page by page.
pub struct Document {
    title: String,
    glyphs: UsedGlyphs,
    pages: Vec<([f64; 2], Vec<u8>)>,
}

impl Document {
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), glyphs: UsedGlyphs::default(), pages: Vec::new() }
    }

    /// Adds a page of this size and draws on it.
    pub fn page(&mut self, size_mm: [f64; 2], draw: impl FnOnce(&mut Canvas)) {
        let mut canvas = Canvas::new(size_mm, &mut self.glyphs);
        draw(&mut canvas);
        let content = canvas.finish();
        self.pages.push((size_mm, content));
    }

    pub fn finish(self) -> Vec<u8> {
        let mut last_ref = 0;
        let mut next = || {
            last_ref += 1;
            Ref::new(last_ref)
        };
        let mut pdf = Pdf::new();
        let [catalog_id, tree_id, info_id] = std::array::from_fn(|_| next());

        let mut catalog = pdf.catalog(catalog_id);
        catalog.pages(tree_id).lang(TextStr("en"));
        let mut preferences = catalog.viewer_preferences();
        preferences.display_doc_title(true);
        // Ask print dialogues to start with no scaling, one side only, and paper picked by page
        // size (ISO 32000-1, table 150).
        preferences.pair(Name(b"PrintScaling"), Name(b"None"));
        preferences.pair(Name(b"Duplex"), Name(b"Simplex"));
        preferences.pair(Name(b"PickTrayByPDFSize"), true);
        drop(preferences);
        drop(catalog);
        pdf.document_info(info_id).title(TextStr(&self.title)).creator(TextStr("sightcord"));

        let fonts = self.glyphs.embed(&mut pdf, &mut next);
        let page_ids: Vec<Ref> = self.pages.iter().map(|_| next()).collect();
        pdf.pages(tree_id).kids(page_ids.iter().copied()).count(page_ids.len() as i32);
        for (&page_id, (size_mm, content)) in page_ids.iter().zip(&self.pages) {
            let content_id = next();
            let [width, height] = size_mm.map(|side| (side * POINTS_PER_MM) as f32);
            let mut page = pdf.page(page_id);
            page.parent(tree_id).media_box(Rect::new(0.0, 0.0, width, height)).contents(content_id);
            let mut resources = page.resources();
            let mut names = resources.fonts();
            for &(face, font) in &fonts {
                names.pair(face.resource_name(), font);
            }
            drop(names);
            drop(resources);
            drop(page);
            pdf.stream(content_id, &deflate(content)).filter(Filter::FlateDecode);
        }
        pdf.finish()
    }
}
