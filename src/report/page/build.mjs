// Bundles the page into one file with nothing outside it: scripts and styles inside, allowed by their hashes.
// usage: node build.mjs OUT.html [OUT.cpp]   the second is the same page as string literals for the program
import {createHash} from 'node:crypto';
import {mkdirSync, readFileSync, writeFileSync} from 'node:fs';
import {dirname, join} from 'node:path';
import {fileURLToPath} from 'node:url';
import {build} from 'esbuild';

const here = dirname(fileURLToPath(import.meta.url));
const out = process.argv[2] ?? join(here, 'dist', 'page.html');

const bundle = await build({
  entryPoints: [join(here, 'src', 'page.js')],
  bundle: true,
  minify: true,
  format: 'iife',
  target: ['es2020'],
  charset: 'ascii',
  legalComments: 'none',
  write: false,
});
const script = bundle.outputFiles[0].text;
const style = readFileSync(join(here, 'src', 'page.css'), 'utf8');
if (/<\/(script|style)/i.test(script) || /<\/style/i.test(style)) throw new Error('the bundle would end its own element');

const hash = (text) => `'sha256-${createHash('sha256').update(text, 'utf8').digest('base64')}'`;
const policy = [
  "default-src 'none'",
  `script-src ${hash(script)}`,
  `style-src ${hash(style)}`,
  'img-src data:',
  "base-uri 'none'",
  "form-action 'none'",
].join('; ');

// Functions as replacements: a '$' in the bundle must stay a '$'.
const page = readFileSync(join(here, 'src', 'page.html'), 'utf8')
  .replace('@POLICY@', () => policy)
  .replace('@STYLE@', () => style)
  .replace('@SCRIPT@', () => script);
mkdirSync(dirname(out), {recursive: true});
writeFileSync(out, page);

if (process.argv[3]) {
  // Pieces well under the 65 536 characters that every compiler must take; bytes outside plain ASCII as octal.
  const bytes = Buffer.from(page, 'utf8');
  const pieces = [];
  for (let at = 0; at < bytes.length; at += 16000) {
    let text = '';
    for (const byte of bytes.subarray(at, at + 16000)) {
      const plain = byte >= 0x20 && byte < 0x7f && byte !== 0x22 && byte !== 0x5c && byte !== 0x3f;
      text += plain ? String.fromCharCode(byte) : '\\' + byte.toString(8).padStart(3, '0');
    }
    pieces.push(`    "${text}"sv,`);
  }
  writeFileSync(process.argv[3], `// Made by build.mjs from src/report/page.
#include "report/page_template.h"

namespace rimwright {

std::vector<std::string_view> page_template_pieces() {
  using namespace std::string_view_literals;
  return {
${pieces.join('\n')}
  };
}

}  // namespace rimwright
`);
}
