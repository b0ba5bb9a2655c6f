package mesh

import "bytes"

// looksLikeASCII reports whether the head of a file is text that begins with "solid". The last
// byte of a binary face count is zero below 16.7 million faces, if none before it is.
func looksLikeASCII(head []byte) bool {
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	word := bytes.TrimLeft(head, " \t\r\n\v\f")
	if len(word) < 5 || !bytes.EqualFold(word[:5], []byte("solid")) {
		return false
	}
	if len(word) > 5 && word[5] > ' ' {
		return false
	}
	return len(head) < stlHeader || bytes.IndexByte(head[:stlHeader], 0) < 0
}
